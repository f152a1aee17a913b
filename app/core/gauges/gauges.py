"""The shop's gauges as typed: what kinds there are, a gauge's own page, a check of its size.

A blade has one size, engraved on it. Every other gauge carries marks; a check says where one of
them really stands. What checks do to readings is in `sizes`.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from app.core.values.forms import Fields, Refused
from app.core.values.units import SCALES, Scale, format_mm, format_on_scale, scales_for


@dataclass(frozen=True, slots=True)
class GaugeKind:
    """A kind of gauge: its words, what its scale measures, and what a check of it can find.

    `check_u_mm` is the standard uncertainty of a check where none is typed, `most_off_mm` the
    furthest a mark can be off before a slip of the pen or the unit is likelier (our own figures,
    no source).
    """

    key: str
    label: str
    plural: str
    measures: str
    check_u_mm: float
    most_off_mm: float
    wear: str

    @property
    def is_blade(self) -> bool:
        """Whether it has one size instead of marks."""
        return self.key == "blade"


GAUGE_KINDS: dict[str, GaugeKind] = {
    kind.key: kind
    for kind in (
        GaugeKind("blade", "blade", "blades", "length", 0.001, 0.0,
                  "Use wears a blade thin and a bend makes it thick; a thin one stops further in."),
        GaugeKind("glass", "glass", "glasses", "glass", 0.03, 1.0,
                  "A chipped or ground end moves the zero, and with it every mark alike."),
        GaugeKind("wedge", "tip wedge", "tip wedges", "tip", 0.003, 0.2,
                  "A worn wedge goes in further and shows too much, by about the same everywhere."),
        GaugeKind("bore_gauge", "bore gauge", "bore gauges", "bore", 0.005, 0.5,
                  "A worn plug goes in further and shows too much, by about the same everywhere."),
        GaugeKind("dial", "dial", "dials", "length", 0.003, 0.5,
                  "A dial can run long or short over its travel: check it at two places or more."),
        GaugeKind("calliper", "calliper", "callipers", "length", 0.01, 0.5,
                  "Worn jaws show too little outside, by about the same everywhere."),
    )
}  # fmt: skip
THINNEST_MM, THICKEST_MM = 0.005, 5.0
UNITS: dict[str, str] = {"length_mm": "mm", "length_in": "inches"}


@dataclass(frozen=True, slots=True)
class GaugeEntry:
    """A gauge's own page as typed; lengths in mm.

    `nominal_mm` is the size engraved on a blade, None for gauges with marks; `resolution_mm` the
    finest step read on the marks, None for a blade. `tolerance_mm` is the half-width within which
    its size, or any mark, is held to be; `repeatability_mm` a standard deviation, `laying_mm` the
    standard uncertainty of laying a glass, None for other kinds or where it isn't known.
    """

    kind: str
    label: str
    scale: str
    nominal_mm: float | None
    resolution_mm: float | None
    tolerance_mm: float | None
    repeatability_mm: float | None
    laying_mm: float | None
    notes: str


def parse_gauge(raw: Mapping[str, str], kind: GaugeKind) -> GaugeEntry | Refused:
    """Read a gauge's page."""
    fields = Fields(raw)
    allowed = {scale.key: scale for scale in scales_for(kind.measures)}
    key = fields.choice("scale", allowed, words="Say what it is engraved in.")
    scale = allowed.get(key, SCALES["length_mm"])
    entry = GaugeEntry(
        kind=kind.key,
        label=fields.text("label", needed=f"Write what you call this {kind.label}.", limit=80),
        scale=key,
        nominal_mm=_read_nominal(fields, scale) if kind.is_blade else None,
        resolution_mm=None if kind.is_blade else _read_step(fields, scale),
        tolerance_mm=_read_small(fields, "tolerance", "A tolerance", 1.0),
        repeatability_mm=_read_small(fields, "repeatability", "A repeatability", 2.0),
        laying_mm=_read_laying(fields) if kind.key == "glass" else None,
        notes=fields.text("notes", limit=2000),
    )
    return fields.refused() or entry


def _read_nominal(fields: Fields, scale: Scale) -> float | None:
    value = fields.length_mm("nominal", scale)
    if value is None:
        fields.refuse("nominal", "Write the thickness engraved on the blade.")
    elif not THINNEST_MM <= value <= THICKEST_MM:
        fields.refuse(
            "nominal",
            f"{fields.raw['nominal'].strip()} {UNITS[scale.key]} is {format_mm(value, 3)} mm; a "
            "blade is 0.005 to 5 mm thick. Is it in the other unit? Write mm or in after it.",
        )
    return None if value is None else round(value, 7)


def _read_step(fields: Fields, scale: Scale) -> float | None:
    value = fields.length_mm("resolution", scale)
    if value is None:
        return scale.step_mm
    if not 0.0 < value <= 2.0:
        fields.refuse("resolution", "The finest step you read is more than nothing, up to 2 mm.")
    return value


def _read_laying(fields: Fields) -> float | None:
    """Read a half-width within which all but one laying of twenty lies: twice the standard u."""
    value = _read_small(fields, "laying", "How a glass is laid", 1.0)
    return None if value is None else value / 2.0


def _read_small(fields: Fields, name: str, what: str, most_mm: float) -> float | None:
    value = fields.length_mm(name, SCALES["length_mm"])
    if value is not None and value > most_mm:
        fields.refuse(name, f"{what} is at most {most_mm:g} mm.")
    return value


@dataclass(frozen=True, slots=True)
class CheckEntry:
    """A check as typed: `mark_mm` is the mark that was checked, None for a blade. mm throughout."""

    checked_on: date
    mark_typed: str
    mark_mm: float | None
    typed: str
    scale: str
    actual_mm: float
    u_mm: float
    method: str


def parse_check(
    raw: Mapping[str, str],
    kind: GaugeKind,
    scale: Scale,
    nominal_mm: float | None,
    today: date,
) -> CheckEntry | Refused:
    """Read a check of a gauge engraved in `scale`; `nominal_mm` is a blade's engraved size."""
    fields = Fields(raw)
    checked_on = fields.past_day("checked_on", today, "A check")
    unit = fields.choice("unit", UNITS, words="Say whether that is mm or inches.")
    mark_mm = None if kind.is_blade else _read_mark(fields, scale)
    actual_mm = fields.length_mm("actual", SCALES.get(unit, SCALES["length_mm"]))
    if actual_mm is None:
        what = "thickness you found" if kind.is_blade else "true length at that mark"
        fields.refuse("actual", f"Write the {what}.")
    elif kind.is_blade:
        _refuse_other_blade(fields, actual_mm, nominal_mm)
    elif mark_mm is not None and abs(actual_mm - mark_mm) > kind.most_off_mm:
        fields.refuse(
            "actual",
            f"{format_mm(actual_mm, 3)} mm at the mark {format_on_scale(mark_mm, scale)} "
            f"({format_mm(mark_mm, 3)} mm) is further off than a {kind.label} can be. "
            "Is the unit right?",
        )
    u_mm = fields.length_mm("u", SCALES["length_mm"])
    if u_mm is not None and not 0.00005 <= u_mm <= 1.0:
        fields.refuse("u", "How sure a check is lies between 0.0001 and 1 mm.")
    entry = CheckEntry(
        checked_on=checked_on,
        mark_typed="" if kind.is_blade else raw.get("mark", "").strip(),
        mark_mm=mark_mm,
        typed=raw.get("actual", "").strip(),
        scale=unit,
        actual_mm=actual_mm or 0.0,
        u_mm=kind.check_u_mm if u_mm is None else u_mm,
        method=fields.text("method", limit=300),
    )
    return fields.refused() or entry


def _read_mark(fields: Fields, scale: Scale) -> float | None:
    mark_mm = fields.length_mm("mark", scale)
    if mark_mm is None:
        fields.refuse("mark", "Write which mark you checked.")
    elif mark_mm <= 0:
        fields.refuse("mark", "Check a mark away from zero: nothing has no length to measure.")
    return mark_mm


def _refuse_other_blade(fields: Fields, actual_mm: float, nominal_mm: float | None) -> None:
    if nominal_mm and not 0.5 <= actual_mm / nominal_mm <= 1.5:
        fields.refuse(
            "actual",
            f"{format_mm(actual_mm, 4)} mm is too far from the {format_mm(nominal_mm, 4)} mm "
            "engraved to be the same blade. Is the unit right?",
        )
