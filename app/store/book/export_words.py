"""What an export says of itself to whoever opens it, perhaps in twenty years."""

READ_ME = """\
THE BOOK OF A WORKSHOP FOR WOODWIND MOUTHPIECES

Written by {program} on {day}. You do not need that program to read this.

This is everything the workshop's book held on that day: whose mouthpieces came in, what was
measured on each, what was done, what was agreed and paid, the papers that were handed out and the
photographs. It holds people's names, addresses and telephone numbers: keep it as you would keep
those.


WHAT IS IN IT

tables/         one file for each table of the book, a row a line
fields.csv      every table and every column in words
codes.csv       what the short codes in some columns mean
papers/         the papers as they were handed out; papers/12/paper.pdf is the one whose id is 12
                in tables/slip.csv
photos/         the photographs; what is written beside them is in tables/photo.csv
manifest.json   a list of all these files with their sizes and SHA-256 sums, to see whether any
                was damaged


HOW TO READ THE TABLES

They are CSV files: plain text in UTF-8, the values of a row with commas between them, the first
row naming the columns. A value that holds a comma, a line break or a quotation mark stands in
quotation marks, and a quotation mark inside it is doubled (this is RFC 4180). Any spreadsheet and
any programming language reads them. When a spreadsheet asks, say: separated by commas, UTF-8, all
columns as text.

- Numbers have a point before the decimals. Every length is in millimetres (a column's name then
  ends in _mm), amounts of money in the smallest coin (_minor), volumes in millilitres.
- Days are year-month-day; moments are in Universal Time (UTC).
- true and false stand for yes and no.
- An empty cell means that there is no value, or that the text is empty; fields.csv says which,
  column by column.
- A text that begins with = + - @ (or their wide forms), with a tab, a line break or an apostrophe
  has one apostrophe more in front of it, so that no spreadsheet takes it for a formula. To have the
  text as it was, take one apostrophe off the front of a cell that begins with one. In a column
  where an empty cell means no value, an apostrophe alone is the empty text. Numbers have none.
- Columns named id number a table's rows, and columns such as customer_id point to such a number in
  another table; fields.csv says to which.
- A column of kind "file" holds the name of a file in this zip.


HOW TO FOLLOW ONE MOUTHPIECE

tables/piece.csv has a row for each. Its id stands as piece_id in tables/job.csv (each time it was
brought) and in tables/reading_set.csv (each time it was measured). The id of a reading set stands
as set_id in tables/reading.csv: one row for each blade's stop, tip opening and so on, with the text
as typed, the scale it counts in and the value in millimetres. A reading set that was corrected is
still there; the one that corrects it names it in replaces_id.


FOR WHOEVER KEEPS THE PROGRAM

The schema is {schema}. The program takes this file into a new, empty book with its verb
"import"; one that is newer than the program that wrote it does too.
Not in here: the passphrase, the backups, and what was half typed on a page.
"""
