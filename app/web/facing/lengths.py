"""The measurement page's second part: other lengths and dial readings, to type and as kept."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from app.core.compare.length_words import (
    SureLength,
    describe_taper,
    fit_taper,
    label_reading,
    list_history,
    show_reading,
    unit_of,
)
from app.core.facing.analysis import FacingAnalysis
from app.core.facing.dials import DialPlace, list_dial_places
from app.core.facing.measurements import GaugesInUse
from app.core.gauges.hand_gauges import FIELDS
from app.core.values.dial_columns import DIAL_SCALES, RAILS, dial_scale
from app.core.values.lengths import LENGTHS, Cell, Length, list_rows, scale_named
from app.core.values.readings import FacingReadings, ReadingEntry
from app.core.values.uncertainty import expanded
from app.core.values.units import format_mm, format_number, format_signed
from app.store.records.measurements import Measurement


@dataclass(frozen=True, slots=True)
class LengthFields:
    """What the form prints of one quantity: its rows of cells, and the unit to write in."""

    length: Length
    rows: tuple[Cell, ...]
    written_in: str


def length_fields(
    cells: Mapping[str, str], problems: Mapping[str, str], gauges: GaugesInUse
) -> dict[str, Any]:
    """The form's second part: fields by shape, the dial's scales, and what stands open."""
    fields = [
        LengthFields(length, tuple(list_rows(length, cells)), length.scale(gauges.bore).label)
        for length in LENGTHS.values()
    ]
    names = {
        name for field in fields for row in field.rows for name in (row.field, row.beside) if name
    }
    dial_names = {f"dial_{rail}{end}" for rail in RAILS for end in ("", "_file")}
    return {
        "of": {field.length.key: field for field in fields},
        "single": [field for field in fields if field.length.shape in {"one", "rails"}],
        "open": _any_filled(cells, names) or bool(names & set(problems)),
        "dial_open": _any_filled(cells, dial_names) or bool(dial_names & set(problems)),
        "dial_scales": DIAL_SCALES,
        "dial_scale": dial_scale(cells).key,
        "hands": {name: _list_hands(gauges, kind) for kind, name in FIELDS.items()},
        "rails": RAILS,
    }


def _list_hands(gauges: GaugesInUse, kind: str) -> list[tuple[int, str]]:
    """List the dials or callipers to choose from; the first is chosen where nothing was said."""
    return [
        (hand.id, f"{hand.label}, retired" if hand.retired else hand.label)
        for hand in gauges.hands
        if hand.kind == kind
    ]


def _any_filled(cells: Mapping[str, str], names: set[str]) -> bool:
    return any(cells.get(name, "").strip() for name in names)


def say_bore(lengths: Sequence[SureLength]) -> list[str]:
    """Say in sentences what the bore does between its depths."""
    return list(describe_taper(fit_taper(lengths)))


@dataclass(frozen=True, slots=True)
class LengthRow:
    """One other length as the measurement page prints it, with what other sets read for it."""

    label: str
    typed: str
    value: str
    uncertainty: str
    others: tuple[tuple[Measurement, str], ...]


def list_length_rows(measurement: Measurement, sets: Sequence[Measurement]) -> list[LengthRow]:
    """List a set's other lengths, each with its history over the piece's sets."""
    others = {other.id: other for other in sets if other.id != measurement.id}
    histories = list_history(
        measurement.lengths, {set_id: other.lengths for set_id, other in others.items()}
    )
    return [
        LengthRow(
            label_reading(history.length.reading),
            _as_written(history.length.reading),
            show_reading(history.length.reading),
            f"± {format_number(expanded(history.length.u_mm), 2, least=2)} "
            f"{unit_of(history.length.reading)}",
            tuple((others[set_id], show_reading(reading)) for set_id, reading in history.others),
        )
        for history in histories
    ]


def _as_written(reading: ReadingEntry) -> str:
    unit = scale_named(reading.scale).unit
    ends_in_letters = reading.typed.strip()[-1:].isalpha()
    return reading.typed if ends_in_letters else f"{reading.typed} {unit}".strip()


@dataclass(frozen=True, slots=True)
class DialRow:
    """One position of the dial as the measurement page prints it."""

    position: str
    left: str
    left_residual: str
    right: str
    right_residual: str
    difference: str
    note: str


def list_dial_rows(facing: FacingReadings, analysis: FacingAnalysis) -> list[DialRow]:
    """List the dial's positions with the gaps, their residuals, and the rails' difference."""
    return [_dial_row(place) for place in list_dial_places(facing, analysis.left, analysis.right)]


def _say_left_out(place: DialPlace) -> str:
    out = [
        rail
        for rail in RAILS
        if getattr(place, f"{rail}_mm") is not None and not getattr(place, f"{rail}_in_fit")
    ]
    if not out:
        return ""
    return "not weighed" if len(out) == 2 else f"{out[0]} not weighed"


def _dial_row(place: DialPlace) -> DialRow:
    def gap(value: float | None) -> str:
        return "–" if value is None else format_mm(value, 3)

    def micrometres(value: float | None) -> str:
        return "" if value is None else f"{format_signed(value, 0)} µm"

    difference = micrometres(place.difference_um)
    return DialRow(
        format_number(place.position_mm, 2),
        gap(place.left_mm),
        micrometres(place.left_residual_um),
        gap(place.right_mm),
        micrometres(place.right_residual_um),
        f"{difference} ± {format_number(place.u_um, 0)} µm" if difference else "",
        _say_left_out(place),
    )
