"""A target as typed: the shop's own facing, from the page's fields to a checked value and back.

A target is told by readings (as a notebook line), by a plain curve (where the thinnest blade is
to stop, and the tip opening), or copied from readings once taken. Its numbers are kept as typed,
like readings, so that the maker finds them again as they were written.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from app.core.facing.analysis import MalformedReading
from app.core.facing.measurements import GaugesInUse, facing_of, parse_set, write_line
from app.core.plan.facings import (
    SHAPES,
    FacingTolerance,
    PlainFacing,
    Target,
    find_shape,
    place_blades,
    solve_facing,
)
from app.core.values.customers import INSTRUMENT_KINDS
from app.core.values.forms import Fields, Refused
from app.core.values.readings import ReadingEntry
from app.core.values.units import SCALES, Scale, format_mm, format_number, format_on_scale, to_scale

TOLD_BY: dict[str, str] = {
    "readings": "by readings",
    "plain": "by a plain curve",
    "copy": "copied from readings",
}
# the fields of a tolerance, with the widest that makes sense (mm); common practice, no source
TOLERANCES: dict[str, tuple[str, float]] = {
    "position_tolerance": ("where a blade stops, along the glass", 5.0),
    "tip_tolerance": ("the tip opening", 0.5),
    "gap_tolerance": ("the gap anywhere along the rails", 0.5),
}


@dataclass(frozen=True, slots=True)
class FacingEntry:
    """A target as typed. `readings` are its numbers: blades' stops, or `length`, and `tip`.

    `curve` and `shape` are for one told by a plain curve; `shape` is None for the usual one.
    """

    name: str
    instrument_kind: str
    told_by: str
    curve: str | None
    shape: float | None
    readings: tuple[ReadingEntry, ...]
    tolerance: FacingTolerance
    note: str
    source_set_id: int | None = None

    @property
    def target(self) -> Target:
        """The target as the plan takes it."""
        return make_target(self.curve, self.shape, self.readings)


def make_target(curve: str | None, shape: float | None, readings: Sequence[ReadingEntry]) -> Target:
    """Make the target that these kept numbers tell: plain if one of them is a length."""
    length = next((reading for reading in readings if reading.quantity == "length"), None)
    if length is None:
        return facing_of(readings)
    tip = next((reading.value_mm for reading in readings if reading.quantity == "tip"), 0.0)
    return PlainFacing(length.value_mm, tip, curve or "arc", length.gap_mm or 0.0, shape)


def parse_facing(
    raw: Mapping[str, str],
    gauges: GaugesInUse,
    today: date,
    copied: Sequence[ReadingEntry] = (),
    source_set_id: int | None = None,
) -> FacingEntry | Refused:
    """Read the facing page; `copied` are the readings that "copied from readings" takes over."""
    fields = Fields(raw)
    told_by = fields.choice("told_by", TOLD_BY, words="Say how the facing is told.")
    readings: tuple[ReadingEntry, ...] = ()
    curve = shape = None
    if told_by == "copy":
        readings = tuple(reading for reading in copied if reading.quantity in {"blade", "tip"})
        if not readings:
            fields.refuse("told_by", "There are no readings here to copy.")
    elif told_by == "plain":
        curve, shape, readings = _read_plain(fields, gauges)
    elif told_by:
        readings = _read_line(fields, gauges, today)
    entry = FacingEntry(
        name=fields.text("name", needed="Give the facing a name.", limit=120),
        instrument_kind=fields.choice(
            "instrument_kind", INSTRUMENT_KINDS, words="Choose the instrument it is for."
        ),
        told_by=told_by,
        curve=curve,
        shape=shape,
        readings=readings,
        tolerance=read_tolerance(fields),
        note=fields.text("note", limit=2000),
        source_set_id=source_set_id if told_by == "copy" else None,
    )
    if not fields.problems:
        _check_target(fields, entry)
    return fields.refused() or entry


def read_tolerance(fields: Fields) -> FacingTolerance:
    """Read the three tolerances in mm; an empty one is not judged."""
    values: dict[str, float | None] = {}
    for name, (what, most) in TOLERANCES.items():
        value = fields.length_mm(name, SCALES["length_mm"])
        if value is not None and value > most:
            fields.refuse(name, f"A tolerance for {what} is at most {most:g} mm.")
        values[name] = value
    return FacingTolerance(
        values["position_tolerance"], values["tip_tolerance"], values["gap_tolerance"]
    )


def _read_plain(
    fields: Fields, gauges: GaugesInUse
) -> tuple[str, float | None, tuple[ReadingEntry, ...]]:
    curve = fields.choice("curve", SHAPES, words="Choose the curve.", default="arc")
    thinnest = gauges.blades[-1]
    readings = []
    for name, quantity, scale, gap_mm, missing in (
        ("length", "length", gauges.glass, thinnest.gap_mm,
         f"Write where the thinnest blade ({thinnest.label}) is to stop."),
        ("tip_opening", "tip", gauges.tip, None, "Write the tip opening."),
    ):  # fmt: skip
        value = fields.length_mm(name, scale)
        if value is None:
            fields.refuse(name, missing)
            continue
        gauge_id = thinnest.gauge_id if quantity == "length" else None
        typed = fields.raw[name].strip()
        readings.append(ReadingEntry(quantity, "", gauge_id, gap_mm, None, typed, scale.key, value))
    third = fields.length_mm("third_stop", gauges.glass)
    if third is None or fields.problems:
        return curve, None, tuple(readings)
    by_key = {str(blade.gauge_id): blade for blade in gauges.blades}
    blade = by_key.get(fields.raw.get("third_blade", ""), gauges.blades[len(gauges.blades) // 2])
    facing = make_target(curve, None, readings)
    shape = None
    try:
        if isinstance(facing, PlainFacing):
            shape = find_shape(
                facing, blade.gap_mm, third, lambda mm: format_on_scale(mm, gauges.glass)
            )
    except MalformedReading as error:
        field = "third_stop" if error.field.endswith("third_stop") else "tip_opening"
        fields.refuse(field, str(error))
    return curve, shape, tuple(readings)


def _read_line(fields: Fields, gauges: GaugesInUse, today: date) -> tuple[ReadingEntry, ...]:
    line = fields.raw.get("line", "").strip()
    if not line:
        fields.refuse(
            "line", "Write the numbers, thin to thick, and the tip: 35.5 23.5 12.5 6.5 / 1.11."
        )
        return ()
    parsed = parse_set({"line": line, "role": "reference"}, gauges, "other", today)
    if parsed.problems:
        fields.refuse("line", next(iter(parsed.problems.values())))
        return ()
    # what is unusual on a piece may well be meant as a target: nothing is asked about
    return tuple(
        reading for reading in parsed.entry.readings if reading.quantity in {"blade", "tip"}
    )


def _check_target(fields: Fields, entry: FacingEntry) -> None:
    """Refuse a target that can't be drawn, in words beside the field at fault."""
    plain = entry.told_by == "plain"
    beside = {
        "target.facing_length_mm": "length",
        "target.tip_opening_mm": "tip_opening",
        "target.shape": "third_stop",
        "target.curve": "curve",
    }
    target = entry.target
    try:
        if isinstance(target, PlainFacing):
            solve_facing(target)
        elif not (target.left or target.right):
            fields.refuse("line" if entry.told_by == "readings" else "told_by",
                          "A target needs at least one blade's number.")  # fmt: skip
        else:
            place_blades(target, [stop.gap_mm for stop in target.left or target.right][:1])
    except MalformedReading as error:
        other = "length" if plain else "line" if entry.told_by == "readings" else "told_by"
        fields.refuse(beside.get(error.field, other), str(error))


def even_up_entries(readings: Sequence[ReadingEntry]) -> tuple[ReadingEntry, ...]:
    """Make the numbers that even up two rails: on each blade the more open one for both.

    The same rule as `facings.even_up`, on readings as typed; the tip opening stays as read.
    """
    further: dict[float, ReadingEntry] = {}
    for reading in readings:
        if reading.quantity != "blade" or reading.gap_mm is None:
            continue
        if reading.gap_mm not in further or reading.value_mm > further[reading.gap_mm].value_mm:
            further[reading.gap_mm] = reading
    stops = [
        replace(further[gap], rail=rail)
        for gap in sorted(further, reverse=True)
        for rail in ("left", "right")
    ]
    return (*stops, *(reading for reading in readings if reading.quantity == "tip"))


def format_stop(position_mm: float, glass: Scale) -> str:
    """Write where a blade should stop as the glass is read: to its own step."""
    return format_on_scale(round(position_mm / glass.step_mm) * glass.step_mm, glass)


def tell_target(target: Target, gauges: GaugesInUse) -> str:
    """Write a target in one line as notebooks have it, thin to thick: 35.5 23.5 13.5 6.5 / 1.13.

    A plain facing is told by where the blades of the set should stop on it.
    """
    if not isinstance(target, PlainFacing):
        gaps = [stop.gap_mm for stop in (*target.left, *target.right)]
        between = tuple(
            blade.gap_mm
            for blade in gauges.blades
            if gaps and min(gaps) < blade.gap_mm < max(gaps) and blade.gap_mm not in gaps
        )
        return write_line(replace(target, unread_mm=(*target.unread_mm, *between)), gauges)
    numbers = [
        "–" if placed.left_mm is None else format_stop(placed.left_mm, gauges.glass)
        for placed in place_blades(target, [blade.gap_mm for blade in gauges.blades])
    ]
    numbers = numbers if gauges.thin_first else numbers[::-1]
    return f"{' '.join(numbers)} / {format_on_scale(target.tip_opening_mm, gauges.tip)}"


@dataclass(frozen=True, slots=True)
class TargetRow:
    """Where one blade should stop, as written on the sheet; empty where it should not go in."""

    blade: str
    left: str
    right: str
    left_mm: str
    right_mm: str
    low: str
    high: str


def list_target_rows(
    target: Target, tolerance: FacingTolerance, gauges: GaugesInUse
) -> tuple[TargetRow, ...]:
    """List where each blade of a set should stop, thin to thick, in the glass's own numbers."""
    labels = {blade.gap_mm: blade.label for blade in gauges.blades}
    rows = []
    for placed in place_blades(target, list(labels), tolerance):
        left, right = placed.left_mm, placed.right_mm
        rows.append(
            TargetRow(
                labels[placed.gap_mm],
                *("" if mm is None else format_stop(mm, gauges.glass) for mm in (left, right)),
                *("" if mm is None else format_mm(mm, 1) for mm in (left, right)),
                *(
                    "" if mm is None else format_stop(max(0.0, mm), gauges.glass)
                    for mm in (placed.low_mm, placed.high_mm)
                ),
            )
        )
    return tuple(rows)


def tell_tolerance(tolerance: FacingTolerance, glass: Scale) -> str:
    """Say the tolerances in one line; empty if there are none."""
    parts = []
    if tolerance.position_mm is not None:
        number = format_number(to_scale(tolerance.position_mm, glass), 2)
        parts.append(f"blades within ± {number} on the glass")
    if tolerance.tip_mm is not None:
        parts.append(f"tip within ± {format_mm(tolerance.tip_mm)} mm")
    if tolerance.gap_mm is not None:
        parts.append(f"gap within ± {format_mm(tolerance.gap_mm)} mm")
    return ", ".join(parts)
