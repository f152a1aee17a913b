"""A table of old records: each row a customer, a piece and, where there are any, its readings.

The table comes as CSV with a heading row; commas, semicolons and tabs are told apart by the
heading. Nothing is stored here: each row becomes entries, or words for all that is wrong with it.
"""

import csv
import io
import re
from calendar import month_name
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import date

from app.core.facing.measurements import ROLES, GaugesInUse, SetEntry, parse_set
from app.core.facing.suspects import ask_suspects
from app.core.gauges.sizes import SetSizes
from app.core.values.customers import INSTRUMENT_KINDS, CustomerEntry, read_customer
from app.core.values.forms import Fields, Refused
from app.core.values.pieces import MATERIALS, PieceEntry, read_piece

MOST_ROWS = 2000
_OTHER_SIDE = {"left": "right", "right": "left"}
_STRAIGHT = str.maketrans("“”„″", '""""')  # quotation marks as a word processor sets them
BEYOND = ""  # cells to the right of the last heading


@dataclass(frozen=True, slots=True)
class Column:
    """A column of the table: its heading, what it holds, an example."""

    key: str
    words: str
    example: str
    needed: bool = False


COLUMNS: dict[str, Column] = {
    column.key: column
    for column in (
        Column("name", "the customer’s name", "Ottilie Wiesenrauch", needed=True),
        Column("phone", "telephone", "01632 960 123"),
        Column("email", "e-mail address", "ottilie@example.org"),
        Column("address", "postal address", "Mill Lane 7, Lower Nowhere"),
        Column("instrument", "what the piece is for", "B♭ or A clarinet", needed=True),
        Column("maker", "as stamped", "Kestrel Row"),
        Column("model", "as stamped", "Nightjar"),
        Column("marking", "as stamped", "N4"),
        Column("material", "as on the drop-off page", "hard rubber"),
        Column("marks", "what tells it from its twin", "nick left of the shank"),
        Column("date", "the day of the readings", "2019-05-03"),
        Column(
            "measured", "as received (before), at the bench, as returned (after) or reference",
            "as returned",
        ),
        Column(
            "readings", "as your notebook has them: thin to thick / tip / bore",
            "35.5 23.5 12.5 6.5 / 1.11",
        ),
        Column("note", "anything else", "played it in himself"),
    )
}  # fmt: skip
_CUSTOMER_FIELDS = ("name", "phone", "email", "address")
_PIECE_FIELDS = {"maker": "maker", "model": "model", "marking": "marking", "marks": "telling_marks"}


@dataclass(frozen=True, slots=True)
class NotebookRow:
    """One row: its number in the table, its cells, and what it says or what is wrong with it."""

    number: int
    cells: Mapping[str, str]
    customer: CustomerEntry | None
    piece: PieceEntry | None
    readings: SetEntry | None
    gauges: GaugesInUse | None
    problems: tuple[str, ...]
    doubts: tuple[str, ...]


def read_table(text: str) -> list[dict[str, str]] | Refused:
    """Read the table into rows by column; refused if its heading can't be used."""
    text = text.translate(_STRAIGHT).lstrip("\ufeff").replace("\0", "")
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    lines = text.split("\n", 1)
    if not text.strip():
        return Refused({"table": "Paste the table, or choose its file."})
    heading = lines[0]
    separator = max(",;\t", key=heading.count)
    try:
        rows = list(csv.reader(io.StringIO(text), delimiter=separator, strict=True))
    except csv.Error:
        return Refused({"table": "A quotation mark is opened and never closed; mend it and retry."})
    names = [" ".join(name.casefold().split()) for name in rows[0]]
    unknown = [name for name in names if name and name not in COLUMNS]
    missing = [
        column.key for column in COLUMNS.values() if column.needed and column.key not in names
    ]
    twice = sorted(name for name, count in Counter(names).items() if name and count > 1)
    for names_of_it, words in (
        (unknown, "There is no column “{}”. The columns are listed below."),
        (missing, "The column “{}” is missing; every table needs it."),
        (twice, "The column “{}” is there twice."),
    ):
        if names_of_it:
            return Refused({"table": words.format(names_of_it[0][:40])})
    kept = [row for row in rows[1:] if any(cell.strip() for cell in row)]
    if not kept:
        return Refused({"table": "There is a heading and no row under it."})
    if len(kept) > MOST_ROWS:
        return Refused({"table": f"{len(kept)} rows are more than {MOST_ROWS}; send it in parts."})
    return [
        {name: cell.strip() for name, cell in zip(names, row, strict=False) if name}
        | (
            {"": "more cells than columns"}
            if any(cell.strip() for cell in row[len(names) :])
            else {}
        )
        for row in kept
    ]


def parse_rows(
    rows: list[dict[str, str]],
    gauges_for: Callable[[str, str], GaugesInUse],
    today: date,
    *,
    turned: bool = False,
) -> list[NotebookRow]:
    """Read every row; `gauges_for` gives the gauges for an instrument kind and a line.

    `turned`: what the table calls left is right in the book.
    """
    parsed = [
        _parse_row(number, cells, gauges_for, today) for number, cells in enumerate(rows, start=1)
    ]
    return [_turn_round(row) for row in parsed] if turned else parsed


def _turn_round(row: NotebookRow) -> NotebookRow:
    if row.readings is None:
        return row
    readings = tuple(
        replace(reading, rail=_OTHER_SIDE.get(reading.rail, reading.rail))
        for reading in row.readings.readings
    )
    return replace(row, readings=replace(row.readings, readings=readings))


def _parse_row(
    number: int, cells: dict[str, str], gauges_for: Callable[[str, str], GaugesInUse], today: date
) -> NotebookRow:
    problems: list[str] = []
    doubts: list[str] = []
    if BEYOND in cells:
        problems.append("The row has more cells than the heading has columns.")
    kind = find_instrument(cells.get("instrument", ""))
    if kind is None:
        given = cells.get("instrument", "")[:40]
        problems.append(
            f"“{given}” is no instrument this book knows." if given else "Say what it is for."
        )
    material = _find_label(cells.get("material", ""), MATERIALS)
    if cells.get("material") and material is None:
        problems.append(f"“{cells['material'][:40]}” is no material this book knows.")
    raw = {"instrument_kind": kind or "other", "material": material or "unknown"}
    raw |= {field: cells.get(name, "") for name, field in _PIECE_FIELDS.items()}
    customer_fields = Fields(
        {key: cells.get(key, "") for key in ("name", "phone", "email", "address")}
    )
    piece_fields = Fields(raw)
    customer, piece = read_customer(customer_fields), read_piece(piece_fields)
    problems += [*customer_fields.problems.values(), *piece_fields.problems.values()]
    readings, gauges = None, None
    if cells.get("readings") and kind:
        gauges = gauges_for(kind, cells["readings"])
        readings = _read_set(cells, gauges, kind, today, problems, doubts)
    elif cells.get("note"):
        doubts.append("The note has no readings to stand beside and is left out.")
    return NotebookRow(
        number,
        cells,
        None if customer_fields.problems else customer,
        None if piece_fields.problems or kind is None else piece,
        readings,
        gauges,
        tuple(problems),
        tuple(doubts),
    )


def _read_set(
    cells: Mapping[str, str],
    gauges: GaugesInUse,
    kind: str,
    today: date,
    problems: list[str],
    doubts: list[str],
) -> SetEntry | None:
    measured = cells.get("measured", "") or "reference"
    role = _ROLE_WORDS.get(_plain(measured)) or _find_label(measured, ROLES)
    day, note = cells.get("date", ""), cells.get("note", "")
    if month := _month_of(day):
        doubts.append(f"“{day}” names no day: it is kept as the first of that month, and so noted.")
        note = f"{note} (only the month is known: {day})".strip()
        day = month
    if role is None:
        problems.append(f"“{cells['measured'][:40]}” is not when a reading is taken.")
    if not cells.get("date"):
        problems.append("Readings need their day, such as 2019-05-03.")
    parsed = parse_set(
        {
            "line": cells["readings"],
            "role": role or "reference",
            "taken_on": day,
            "note": note,
        },
        gauges,
        kind,
        today,
        lambda entry: ask_suspects(entry, SetSizes(entry.taken_on)),
    )
    problems += parsed.problems.values()
    doubts += parsed.questions.values()
    return None if parsed.problems else parsed.entry


def find_instrument(text: str) -> str | None:
    """Find an instrument by its label or key, however it is spelled: Bb clarinet, alto sax."""
    wanted = _plain(text)
    if not wanted:
        return None
    names = {_plain(label): key for key, label in INSTRUMENT_KINDS.items()}
    names |= {_plain(key.replace("_", " ")): key for key in INSTRUMENT_KINDS}
    names |= {"bb clarinet": "clarinet_bb", "a clarinet": "clarinet_bb", "clarinet": "clarinet_bb"}
    names["c melody"] = "sax_c_melody"
    # of those that are only a voice, a saxophone is meant; a bass or a contrabass may be either
    names |= {voice: f"sax_{voice}" for voice in ("soprano", "alto", "tenor", "baritone")}
    words = [_SHORT_WORDS.get(word, word) for word in wanted.split()]
    if "in" in words[:-1]:  # clarinet in Bb
        words = [words[-1], *words[: words.index("in")]]
    # the key before a voice says nothing more: Eb alto saxophone
    rest = words[1:] if words[0] in {"ab", "a", "bb", "c", "d", "eb", "f"} else []
    tried = (wanted, " ".join(words), " ".join(rest))
    return next((names[name] for name in tried if name in names), None)


_SHORT_WORDS = {"sax": "saxophone", "saxo": "saxophone", "bari": "baritone", "clar": "clarinet",
                "cl": "clarinet", "cl.": "clarinet", "sopran": "soprano"}  # fmt: skip
_ROLE_WORDS = {"before": "as_received", "after": "as_returned", "received": "as_received",
               "returned": "as_returned", "bench": "at_the_bench",
               "reference": "reference"}  # fmt: skip


def _month_of(text: str) -> str | None:
    """The first day of a month written without one: 2019-05, 05/2019, May 2019."""
    words = text.casefold().replace(".", " ").split()
    numbers = r"([0-9]{4})[-/]([0-9]{1,2})|([0-9]{1,2})[./]([0-9]{4})"
    if match := re.fullmatch(numbers, text.strip()):
        year, month = match[1] or match[4], int(match[2] or match[3])
    elif len(words) == 2 and words[1].isdecimal() and len(words[1]) == 4:
        begins = words[0] if len(words[0]) > 2 else "-"
        fits = (n for n, name in enumerate(month_name) if name.casefold().startswith(begins))
        year, month = words[1], next(fits, 0)
    else:
        return None
    return f"{year}-{month:02d}-01" if 1 <= month <= 12 else None


def _find_label(text: str, labels: Mapping[str, str]) -> str | None:
    wanted = _plain(text)
    return next((key for key, label in labels.items() if wanted in {_plain(label), key}), None)


def _plain(text: str) -> str:
    return " ".join(text.replace("♭", "b").casefold().replace("-", " ").split())
