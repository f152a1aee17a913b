"""The notebook lines that tests type where any line would do: figures of our own.

They behave as facings do (an arc before, an arc with a straight tip after) and no chart prints
them. A test that needs other figures writes them out, as odd as these (`tests/test_examples.py`).
"""

CLOSE_LINE = "33.5 21.5 11.5 5.5 / 1.05"
OPEN_LINE = "35.5 23.5 13.5 6.5 / 1.13"
# the same piece as received and as returned, with its bore and a rail that stood half a number off
RECEIVED_LINE = "33.5 21.5/22 11.5 5.5 / 1.05 / 0.591"
RETURNED_LINE = f"{OPEN_LINE} / 0.591"
