"""The reading grid's other quantities: what they are, and from typed text to checked values.

Each is a row of `LENGTHS`. Some are read once, some on both rails, some at several places along
the piece (the bore at depths, the baffle at distances from the tip), and a shop has lengths of
its own that it names. A length is written in mm, or in inches with `in` at the end; a bore as its
gauge is engraved; a volume in ml. Every reading keeps its text as typed, and where it was read as
typed, so that a correction shows both again.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from app.core.values.dial_columns import MINUS, dial_cells, read_dials
from app.core.values.forms import Fields
from app.core.values.readings import ReadingEntry
from app.core.values.units import (
    SCALES,
    NotANumber,
    Scale,
    format_mm,
    parse_length,
    parse_number,
    refuse_long,
)

RAILS: tuple[str, str] = ("left", "right")
NOT_READ = {"", "-", "–", "—", "x"}
MOST_ROWS = 12
DEEPEST_MM = 150.0
LENGTH = SCALES["length_mm"]
# A volume is kept in ml, so its factor is 1; it is no gauge of the shop and so not in SCALES.
VOLUME = Scale(
    "volume_ml", "volume", "millilitres", "ml", "6.4 is 6.4 ml", Fraction(1), Fraction(1, 10), 2
)
_VOLUME_ENDING = re.compile(r"\s*(ml|cm3|cm³|cc)$", re.IGNORECASE)
_LENGTH_ENDING = re.compile(r"(mm|millimetres?|in|inch|inches|thou|[\"″”])$", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Length:
    """One quantity of the page's second part.

    `shape` is "one", "rails", "places" (a value and where it was read) or "named". `usual` is
    what is usual on any instrument (common practice, from memory, no source), `most` what no
    mouthpiece has; both in `unit`, mm or ml. `rows` is how many rows the page offers at first;
    `signed` lengths may be written with a minus.
    """

    key: str
    label: str
    how: str
    shape: str
    usual: tuple[float, float]
    most: float
    rows: int = 1
    unit: str = "mm"
    signed: bool = False

    def scale(self, bore: Scale) -> Scale:
        """The scale on which it is written; a bore's is the shop's bore gauge."""
        return bore if self.key == "bore" else VOLUME if self.unit == "ml" else LENGTH


LENGTHS: dict[str, Length] = {
    length.key: length
    for length in (
        Length("bore", "Bore at a depth", "depth from the open end of the shank", "places",
               (5.0, 35.0), 60.0, 4),
        Length("table_length", "Table length", "from the window’s end to the table’s", "one",
               (15.0, 80.0), 150.0),
        Length("table_flatness", "Table flatness", "the largest gap under a straight edge", "one",
               (0.0, 0.3), 3.0),
        *(
            Length(f"table_{place}", f"Table gap at the {place}",
                   "under a straight edge; − where it stands proud", "rails",
                   (-0.3, 0.3), 3.0, signed=True)
            for place in ("heel", "middle", "break")
        ),
        Length("window_length", "Window length", "along its middle", "one", (15.0, 70.0), 120.0),
        Length("window_width", "Window width", "at its widest", "one", (4.0, 25.0), 40.0),
        Length("tip_rail_width", "Tip rail width", "at its middle", "one", (0.2, 3.0), 10.0),
        Length("side_rail_width", "Side rail width", "halfway along the window", "rails",
               (0.3, 4.0), 10.0),
        Length("chamber_volume", "Chamber volume", "filled the same way every time", "one",
               (0.5, 60.0), 200.0, unit="ml"),
        Length("baffle_depth", "Baffle depth", "below the rails, at a distance from the tip",
               "places", (0.2, 25.0), 50.0, 3),
        Length("named", "Another length", "in the shop’s own words", "named",
               (0.0, 300.0), 300.0, 2),
    )
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Cell:
    """One field of the page; `beside` is the field that says where it was read, or its name."""

    length: Length
    field: str
    rail: str = ""
    beside: str = ""
    row: int = 1


def _list_cells() -> Iterator[Cell]:
    for length in LENGTHS.values():
        if length.shape == "one":
            yield Cell(length, length.key)
        elif length.shape == "rails":
            for rail in RAILS:
                yield Cell(length, f"{length.key}_{rail}", rail)
        else:
            word = "at" if length.shape == "places" else "name"
            for row in range(1, MOST_ROWS + 1):
                field = f"{length.key}_{row}"
                yield Cell(length, field, "", f"{length.key}_{word}_{row}", row)


CELLS: tuple[Cell, ...] = tuple(_list_cells())


def list_rows(length: Length, raw: Mapping[str, str]) -> list[Cell]:
    """List the cells to show: as many as usual, and always an empty row after the last."""
    cells = [cell for cell in CELLS if cell.length is length]
    if length.shape in {"one", "rails"}:
        return cells
    filled = [
        cell.row for cell in cells if (raw.get(cell.field, "") + raw.get(cell.beside, "")).strip()
    ]
    return cells[: max(length.rows, max(filled, default=0) + 1)]


def is_length(reading: ReadingEntry) -> bool:
    """Tell the second part's readings from the grid's own: blades, tip, and the exit bore."""
    if reading.quantity == "bore":
        return reading.depth_mm is not None
    return reading.quantity in LENGTHS or reading.quantity == "dial"


def scale_named(key: str) -> Scale:
    """The scale that a kept reading names."""
    return VOLUME if key == VOLUME.key else SCALES.get(key, LENGTH)


def length_key(reading: ReadingEntry) -> tuple[str, str, float | None, str]:
    """Tell which readings are of the same thing, whenever they were taken."""
    depth = None if reading.depth_mm is None else round(reading.depth_mm, 2)
    return reading.quantity, reading.rail, depth, reading.name.casefold()


def parse_value(text: str, scale: Scale, *, signed: bool = False) -> float:
    """Read a length in mm, or a volume in ml; raises NotANumber in words."""
    if signed and MINUS.match(text.strip()):
        return -parse_length(MINUS.sub("", text.strip()), scale)
    if scale is not VOLUME:
        return parse_length(text, scale)
    refuse_long(text)
    shown = text.strip()
    if _LENGTH_ENDING.search(shown):
        raise NotANumber(f"“{shown[:40]}” is a length; a volume is written in ml.")
    return float(parse_number(_VOLUME_ENDING.sub("", shown)))


def read_lengths(fields: Fields, bore: Scale) -> list[ReadingEntry]:
    """Read every quantity of the second part; problems go to `fields`, by field."""
    readings: list[ReadingEntry] = []
    seen: set[object] = set()
    for cell in CELLS:
        reading = _read_cell(fields, cell, bore)
        if reading is None:
            continue
        key = length_key(reading)
        if key in seen:
            said = f"“{reading.name}”" if reading.name else f"the place {reading.depth_typed}"
            fields.refuse(cell.beside, f"{cell.length.label}: {said} stands there twice.")
        seen.add(key)
        readings.append(reading)
    if ("bore", "", 0.0, "") in seen and not _empty(fields, "bore"):
        fields.refuse("bore", "Depth 0 below is the exit bore too. Write it in one place only.")
    return readings + read_dials(fields)


def _empty(fields: Fields, name: str) -> bool:
    return fields.raw.get(name, "").strip() in NOT_READ


def _read_cell(fields: Fields, cell: Cell, bore: Scale) -> ReadingEntry | None:
    """Read one cell and what stands beside it; None where nothing was read or it is wrong."""
    length, depth_mm, name = cell.length, None, ""
    if cell.beside:
        if _empty(fields, cell.field) and _empty(fields, cell.beside):
            return None
        if length.shape == "places":
            depth_mm = _read_place(fields, cell)
        else:
            name = " ".join(fields.text(cell.beside, limit=60).split())
            if not name:
                fields.refuse(cell.beside, "Write what this length is, such as “shank length”.")
        if _empty(fields, cell.field):
            said = fields.raw.get(cell.beside, "").strip()[:60]
            fields.refuse(cell.field, f"{length.label}: write what was read for “{said}”.")
    value = _read_value(fields, cell, length.scale(bore))
    if value is None or cell.beside in fields.problems:
        return None
    return ReadingEntry(
        length.key, cell.rail, None, None, depth_mm, fields.raw[cell.field].strip(),
        length.scale(bore).key, value, name,
        fields.raw[cell.beside].strip() if depth_mm is not None else "",
    )  # fmt: skip


def _read_value(fields: Fields, cell: Cell, scale: Scale) -> float | None:
    if _empty(fields, cell.field):
        return None
    typed, length = fields.raw[cell.field].strip(), cell.length
    try:
        value = parse_value(typed, scale, signed=length.signed)
    except NotANumber as error:
        fields.refuse(cell.field, str(error))
        return None
    # only a table can be out by nothing
    if value == 0 and length.usual[0] > 0:
        fields.refuse(cell.field, f"{length.label}: nothing is no reading. Leave it empty.")
    if abs(value) > length.most:
        fields.refuse(
            cell.field,
            f"{length.label}: {typed} is {format_mm(value, 1)} {length.unit}, more than any "
            "mouthpiece has.",
        )
    return None if cell.field in fields.problems else value


def _read_place(fields: Fields, cell: Cell) -> float | None:
    what = "depth" if cell.length.key == "bore" else "distance from the tip"
    if _empty(fields, cell.beside):
        fields.refuse(cell.beside, f"Write the {what} at which this was read.")
        return None
    place_mm = fields.length_mm(cell.beside, LENGTH)
    if place_mm is not None and place_mm > DEEPEST_MM:
        fields.refuse(
            cell.beside, f"A {what} of {format_mm(place_mm, 0)} mm is beyond any mouthpiece."
        )
    return place_mm


def ask_unusual_lengths(
    raw: Mapping[str, str], bore: Scale, usual_bore_mm: tuple[float, float]
) -> dict[str, str]:
    """List, by field, what is possible but unusual: often a unit that was meant otherwise.

    `raw` was read without a problem before. A bore may be a little narrower or wider at a depth
    than is usual at the exit.
    """
    questions: dict[str, str] = {}
    for cell in CELLS:
        typed, length = raw.get(cell.field, "").strip(), cell.length
        if typed in NOT_READ:
            continue
        low, high = length.usual
        if length.key == "bore":
            low, high = usual_bore_mm[0] - 2.0, usual_bore_mm[1] + 4.0
        value = parse_value(typed, length.scale(bore), signed=length.signed)
        if not low <= value <= high:
            questions[cell.field] = (
                f"{length.label}: {typed} is {format_mm(value)} {length.unit}; usual is "
                f"{low:g} to {high:g} {length.unit}."
            )
    return questions


def length_cells(readings: Sequence[ReadingEntry], bore: Scale) -> dict[str, str]:
    """Fill the second part's fields from kept readings, as typed: for a correction."""
    free = {length.key: [cell for cell in CELLS if cell.length is length]
            for length in LENGTHS.values()}  # fmt: skip
    cells: dict[str, str] = {}
    for reading in readings:
        if not is_length(reading) or reading.quantity == "dial":
            continue
        cell = next(cell for cell in free[reading.quantity] if cell.rail == reading.rail)
        free[reading.quantity].remove(cell)
        cells[cell.field] = typed_on(reading, cell.length.scale(bore))
        if cell.beside:
            cells[cell.beside] = reading.name or reading.depth_typed
    return cells | dial_cells([reading for reading in readings if reading.quantity == "dial"])


def typed_on(reading: ReadingEntry, scale: Scale) -> str:
    """A reading's text for a cell of `scale`: with its unit if it was read on another."""
    if reading.scale == scale.key or _LENGTH_ENDING.search(reading.typed):
        return reading.typed
    return f"{reading.typed} {scale_named(reading.scale).unit}".strip()


def length_meanings(raw: Mapping[str, str], bore: Scale) -> dict[str, str]:
    """Say what each cell of the second part means in mm (or ml), by the cell's name."""
    meanings: dict[str, str] = {}
    for cell in CELLS:
        length = cell.length
        meanings[cell.field] = say_meaning(
            raw.get(cell.field, ""), length.scale(bore), length.unit, signed=length.signed
        )
        if length.shape == "places":
            meanings[cell.beside] = say_meaning(raw.get(cell.beside, ""), LENGTH, "mm")
    return meanings


def say_meaning(text: str, scale: Scale, unit: str = "mm", *, signed: bool = False) -> str:
    """Say what a cell's text means in mm, or ml; empty when it can't be read."""
    if text.strip() in NOT_READ:
        return ""
    try:
        return f"{format_mm(parse_value(text, scale, signed=signed))} {unit}"
    except NotANumber:
        return ""
