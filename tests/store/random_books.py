"""A book of random content: every table filled, every column with what it can hold at worst."""

import random
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from sqlalchemy import Connection, Table

from app.store.book.contents import kind_of, list_tables, write_late, write_rows
from app.store.book.contents import to_text as text_of

HOSTILE = (
    "", " ", "'", "''", "'=", "=1+1", "=HYPERLINK(\"http://x\")", "+44 1632 1", "-1", "-", "@cell",
    "\t=1", "\r=1", "\n", "\r\n", "\r", "a\r\nb\nc\rd", 'say "ah"', '"', '""', ",", ";=1", "a,b;c",
    "\x00", "a\x00b", "\x1b[31m", "\ufeff", "👩🏽‍🔧", "İ", "ﷺ", "\u202egnihtemos", "＝1", "NULL",
    "null", "\\N", "nan", "<script>alert(1)</script>", "{{7*7}}", "x" * 200_000, "  leading",
    " after  ", "papers/1/paper.html", "../../etc/passwd", "\u2028", "\x85", "\x0c",
)  # fmt: skip
FLOATS = (0.0, -0.0, -1.5, 0.1, 1 / 3, 5e-324, 1.7976931348623157e308, -2.5e-10, 18.000000000000004,
          float("inf"), float("-inf"))  # fmt: skip
UNIQUE = {("job", "number"), ("slip", "number"), ("blade_set", "name"), ("photo", "name"),
          ("checklist_item", "label"), ("slip_file", "name"), ("message_text", "kind"),
          ("family_blade_set", "family"), ("batch_piece", "piece_id"),
          ("blade_set_member", "gauge_id"), ("reading_set", "replaces_id"),
          ("forgetting", "customer_id")}  # fmt: skip


def fill_at_random(connection: Connection, photos: Path, seed: int, rows: int = 60) -> None:
    """Fill every table of a new, empty database; references hold."""
    dice = random.Random(seed)  # noqa: S311 - a test's dice
    late = []
    for table in list_tables():
        count = 1 if table.name == "shop" else rows
        made = [_make_row(dice, table, number, rows) for number in range(1, count + 1)]
        late.append((table, write_rows(connection, table, made)))
    for table, references in late:
        write_late(connection, table, references)
    for name in (f"{'0' * 64}.jpg", f"{'0' * 64}-small.jpg", "20260101-0123456789abcdef.jpg"):
        place = photos / name
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_bytes(dice.randbytes(dice.choice((0, 1, 3000))))


def _make_row(dice: random.Random, table: Table, number: int, rows: int) -> list[str | None]:
    return [
        text_of(column, _make_value(dice, table, column, number, rows)) for column in table.columns
    ]


def _make_value(dice, table, column, number, rows):
    points = bool(column.foreign_keys)
    unique = (table.name, column.name) in UNIQUE
    if column.nullable and dice.random() < 0.25:
        return None
    if column.name == "id" or (unique and kind_of(column) == "integer"):
        return number if not points else (number * 7) % rows + 1
    if points:
        return dice.randint(1, rows)
    if table.name == "photo" and column.name == "name":
        return f"{number:064x}"
    if column.name == "files_left":
        return [f"{number:064x}"]
    value = _VALUES[kind_of(column)](dice)
    return f"{value}{number}" if unique else value


def _text(dice: random.Random) -> str:
    if dice.random() < 0.6:
        return dice.choice(HOSTILE)
    signs = [dice.choice((dice.randint(0, 127), dice.randint(0, 0xD7FF), dice.randint(0xE000,
             0x10FFFF))) for _ in range(dice.randint(0, 30))]  # fmt: skip
    return "".join(map(chr, signs))


def _json(dice: random.Random):
    return {_text(dice)[:50]: dice.choice((None, True, -1, 0.1, [_text(dice)[:99], {}]))}


_VALUES = {
    "text": _text,
    "integer": lambda dice: dice.choice((0, 1, -1, 2**62, -(2**63), dice.randint(-999, 999))),
    "number": lambda dice: dice.choice((*FLOATS, dice.uniform(-1e6, 1e6))),
    "boolean": lambda dice: dice.random() < 0.5,
    "day": lambda dice: dice.choice((date.min, date.max, date(2026, 2, 28))),
    "moment": lambda dice: (
        datetime(1900, 1, 1, tzinfo=UTC) + timedelta(microseconds=dice.randint(0, 10**16))
    ),
    "json": _json,
    "bytes": lambda dice: dice.randbytes(dice.choice((0, 1, 1000))),
}
