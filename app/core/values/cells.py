"""Texts in a table for spreadsheets: none is taken for a formula, and each comes back exactly.

A spreadsheet computes a cell that begins with = + - or @, also behind a tab or a line's end, and
some also with the wide forms of these signs. Such a text gets an apostrophe before it; so does one
that begins with an apostrophe, so that taking one off again always gives the text. Numbers stay.
"""

import csv
from collections.abc import Iterable, Iterator, Sequence

GUARD = "'"
GUARDED = tuple("=+-@\t\r\n＝＋－＠'")
LINE_END = "\r\n"  # RFC 4180


def guard(text: str) -> str:
    """Write a text so that no spreadsheet computes it."""
    return GUARD + text if text.startswith(GUARDED) else text


def unguard(cell: str) -> str:
    """Read a guarded text."""
    return cell.removeprefix(GUARD)


def write_cell(text: str | None, *, may_be_none: bool, is_number: bool) -> str:
    """Write a value: an empty cell is no value, or the empty text where a value must be."""
    if text is None or is_number:
        return text or ""
    return GUARD if may_be_none and not text else guard(text)


def read_cell(cell: str, *, may_be_none: bool, is_number: bool) -> str | None:
    """Read a value that `write_cell` wrote."""
    if not cell:
        return None if may_be_none else ""
    return cell if is_number else unguard(cell)


class _Line:
    """Takes one written line."""

    def __init__(self) -> None:
        self.text = ""

    def write(self, text: str) -> None:
        """Take what the csv module wrote."""
        self.text = text


def write_lines(rows: Iterable[Sequence[str]]) -> Iterator[bytes]:
    """Write rows of cells as lines of a CSV file in UTF-8, one at a time."""
    line = _Line()
    writer = csv.writer(line, lineterminator=LINE_END)
    for row in rows:
        writer.writerow(row)
        yield line.text.encode()
