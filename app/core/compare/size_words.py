"""The gauges behind a reading set, in words: what they were, what that changes, how sure it is."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import hypot, isfinite

from app.core.compare.length_words import label_reading
from app.core.facing.analysis import analyse_facing
from app.core.facing.corrections import CorrectedReadings, ToldReading, tells_apart
from app.core.facing.measurements import GaugesInUse
from app.core.facing.rail_words import say_break
from app.core.facing.wording import main_rail, read_facing_length
from app.core.gauges.gauge_words import say_error
from app.core.gauges.hand_gauges import kind_used
from app.core.gauges.sizes import (
    ASSUMED_REPEATABILITY_MM,
    IN_FORCE,
    GaugeFacts,
    SetSizes,
    checks_after,
    checks_in_force,
    reading_causes,
    size_cause,
    true_length,
    true_thickness,
)
from app.core.values.forms import format_date, plural
from app.core.values.readings import FacingReadings, ReadingEntry
from app.core.values.uncertainty import Cause, combine_budget, expanded
from app.core.values.units import SCALES, format_blade, format_mm, format_on_scale, format_u

FEW_DOF_FACTOR = 2.15  # above this k = 2 claims clearly more than the study can carry

HISTORY_RULE = (
    "Readings use the sizes in force on their day: those of the latest check not later than that "
    "day, or the marked ones. A later check shows what a gauge had become by then, not when. So "
    "the values of the day stay in use, and beside them stands what the readings would come to if "
    "the gauges had already been so; the truth is one of the two or lies between. The readings "
    "themselves stay as they were typed."
)


@dataclass(frozen=True, slots=True)
class GaugeLine:
    """One gauge a set was taken with: what it was that day and what came out since."""

    gauge_id: int
    name: str
    retired: bool
    on_day: str
    since: str


@lru_cache(maxsize=256)
def list_gauge_lines(readings: tuple[ReadingEntry, ...], sizes: SetSizes) -> tuple[GaugeLine, ...]:
    """List the gauges of a set, blades thick to thin, then those with marks."""
    blades = sorted(
        {(-(stop.gap_mm or 0.0), stop.gauge_id) for stop in readings if stop.quantity == "blade"}
    )
    marked: dict[int, float] = {}
    for reading in readings:
        gauge = sizes.marked(reading)
        if gauge is not None:
            marked[gauge.id] = max(reading.value_mm, marked.get(gauge.id, 0.0))
    lines = []
    for gap, gauge_id in blades:
        if blade := sizes.find(gauge_id):
            lines.append(_blade_line(blade, sizes, -gap))
    lines += [_marked_line(sizes.gauges[gauge_id], sizes, at) for gauge_id, at in marked.items()]
    return tuple(lines)


def _blade_line(blade: GaugeFacts, sizes: SetSizes, recorded_mm: float) -> GaugeLine:
    before, after = checks_in_force(blade, sizes.day), checks_after(blade, sizes.day)
    size = true_thickness(blade, sizes.checks(blade, IN_FORCE), recorded_mm)
    if before:
        on_day = f"{size.mm:.4f} mm by the check of {format_date(before[-1].on)}"
    else:
        on_day = f"as marked, {size.mm:.4f} mm; no check by then"
    since = ""
    if after:
        later = true_thickness(blade, after, recorded_mm)
        change = later.mm - size.mm
        expanded_u = expanded(hypot(later.u_mm, size.u_mm if before else 0.0))
        word = "thinner" if change < 0 else "thicker"
        since = f"{later.mm:.4f} mm on {format_date(after[-1].on)}: " + _say_since(
            blade, sizes, f"{abs(change):.4f} mm {word}", abs(change) <= expanded_u
        )
    return GaugeLine(blade.id, blade.label, blade.retired, on_day, since)


def _marked_line(gauge: GaugeFacts, sizes: SetSizes, shown_mm: float) -> GaugeLine:
    before, after = checks_in_force(gauge, sizes.day), checks_after(gauge, sizes.day)
    size = true_length(gauge, before, shown_mm)
    on_day = "as marked; no check by then"
    if before:
        error = say_error(size.mm - shown_mm, shown_mm, gauge)
        on_day = f"{error}, by the check of {format_date(before[-1].on)}"
    since = ""
    if after:
        later = true_length(gauge, after, shown_mm)
        change = later.mm - size.mm
        expanded_u = expanded(hypot(later.u_mm, size.u_mm if before else 0.0))
        error = say_error(later.mm - shown_mm, shown_mm, gauge)
        since = f"{error} on {format_date(after[-1].on)}: " + _say_since(
            gauge, sizes, f"{format_mm(abs(change), 3)} mm different", abs(change) <= expanded_u
        )
    return GaugeLine(gauge.id, gauge.label, gauge.retired, on_day, since)


def _say_since(gauge: GaugeFacts, sizes: SetSizes, change: str, within: bool) -> str:
    before, after = checks_in_force(gauge, sizes.day), checks_after(gauge, sizes.day)
    if within:
        return f"{change}, no more than that check can be wrong by."
    if before:
        return (
            f"{change}. It changed at some time between the checks of {format_date(before[-1].on)} "
            f"and {format_date(after[-1].on)}; these readings lie between them."
        )
    return f"{change} than marked. Since when is not known: it may have been so already."


@dataclass(frozen=True, slots=True)
class ThreeWays:
    """One value as recorded, by the sizes of its day, and as if the later checks held already."""

    what: str
    recorded: str
    in_force: str
    later: str


def list_three_ways(
    readings: Sequence[ReadingEntry], corrected: CorrectedReadings, gauges: GaugesInUse
) -> list[ThreeWays]:
    """List what a set reads three ways, blades thin to thick, then what follows.

    Only what differs is listed; the list is empty where nothing does.
    """
    if not corrected.differs and corrected.later is None:
        return []
    ways = (corrected.recorded, corrected.in_force, corrected.later or corrected.in_force)
    groups: dict[tuple[str, float], list[int]] = {}
    for i, reading in enumerate(readings):
        key = (_name_reading(reading), -(reading.gap_mm or -1e9))
        groups.setdefault(key, []).append(i)
    rows = []
    for (name, _), group in sorted(groups.items(), key=lambda pair: -pair[0][1]):
        if any(tells_apart(ways[0][i], other[i]) for i in group for other in ways[1:]):
            rows.append(
                ThreeWays(name, *(_write_group(readings, way, group, gauges) for way in ways))
            )
    facings = (corrected.recorded_facing, corrected.facing, corrected.later_facing)
    return rows + [
        ThreeWays(what, *texts)
        for what, texts in (
            ("Facing length", [_length_words(facing) for facing in facings]),
            ("Break point", [_break_words(facing) for facing in facings]),
        )
        if any(texts)
    ]


def _write_group(
    readings: Sequence[ReadingEntry],
    values: Sequence[ToldReading],
    group: Sequence[int],
    gauges: GaugesInUse,
) -> str:
    """Write a blade's two rails as the notebook has them, left/right; anything else by itself."""
    first = readings[group[0]]
    scale = gauges.glass if first.quantity == "blade" else SCALES.get(first.scale, gauges.glass)
    texts = {readings[i].rail: format_on_scale(values[i].value_mm, scale) for i in group}
    if first.quantity == "dial":
        return f"{format_mm(values[group[0]].value_mm, 3)} mm"
    if first.quantity != "blade":
        return f"{texts[first.rail]} {scale.unit}".strip()
    left, right = texts.get("left", "–"), texts.get("right", "–")
    return left if left == right else f"{left}/{right}"


def _name_reading(reading: ReadingEntry) -> str:
    if reading.quantity == "blade":
        return format_blade(reading.gap_mm or 0.0)
    return "Tip opening" if reading.quantity == "tip" else label_reading(reading)


def _length_words(facing: FacingReadings | None) -> str:
    length = read_facing_length(facing) if facing else None
    return "" if length is None else f"{format_mm(length)} mm"


def _break_words(facing: FacingReadings | None) -> str:
    spoken = main_rail(analyse_facing(facing)) if facing else None
    return say_break(spoken[1]) if spoken else ""


@dataclass(frozen=True, slots=True)
class UncertaintyRow:
    """How sure one quantity is: its causes in words, standard and expanded (k = 2), in mm."""

    what: str
    causes: tuple[str, ...]
    u: str
    expanded_u: str
    note: str
    gauge_id: int | None
    assumed: bool


@lru_cache(maxsize=256)
def list_uncertainties(
    readings: tuple[ReadingEntry, ...], sizes: SetSizes
) -> tuple[UncertaintyRow, ...]:
    """List how sure the readings of a set are; blades that are alike share a line."""
    alike: dict[tuple[Cause, ...], list[ReadingEntry]] = {}
    thick: dict[tuple[Cause, ...], list[ReadingEntry]] = {}
    others = []
    marks = _marks_of_blades(readings, sizes)
    for reading in readings:
        marked, shared = sizes.marked(reading), _shared_name(reading)
        if marked is None and kind_used(reading):
            continue  # by no gauge of the register: its table says how finely it was read
        if reading.quantity not in ASSUMED_REPEATABILITY_MM and not shared:
            continue
        blade = reading.quantity == "blade"
        mark = marks if blade else size_cause(marked, sizes.day, reading.value_mm)
        causes = [*reading_causes(reading, sizes), mark]
        key = tuple(cause for cause in causes if cause.u_mm > 0)
        if blade:
            alike.setdefault(key, []).append(reading)
            size = size_cause(sizes.find(reading.gauge_id), sizes.day, reading.gap_mm or 0.0)
            thick.setdefault((size,), []).append(reading)
        elif not shared:
            others.append(_row_of(_name_reading(reading), key, marked.id if marked else None))
        elif not any(row.what == shared for row in others):
            others.append(_row_of(shared, key, marked.id if marked else None))
    count = len({reading.gauge_id for reading in readings if reading.quantity == "blade"})
    rows = [
        _row_of(f"{what}, {_name_blades(group, count)}", causes, group[0].gauge_id)
        for what, groups in (("Where it stops", alike), ("Thickness", thick))
        for causes, group in groups.items()
    ]
    return (*rows, *others)


def _shared_name(reading: ReadingEntry) -> str:
    """Name what shares one line because it is read on one gauge; nothing for what stands alone."""
    if reading.quantity == "bore" and reading.depth_mm is not None:
        return "Bore at a depth"
    return {"dial": "Gap by dial", "calliper": "Length by calliper"}.get(kind_used(reading), "")


def _marks_of_blades(readings: Sequence[ReadingEntry], sizes: SetSizes) -> Cause:
    """How well the glass's marks are known where they are known worst among the stops."""
    glass = sizes.find(sizes.glass_id)
    stops = [reading.value_mm for reading in readings if reading.quantity == "blade"] or [0.0]
    causes = [size_cause(glass, sizes.day, stop) for stop in stops]
    return max(causes, key=lambda cause: cause.u_mm)


def _name_blades(group: Sequence[ReadingEntry], count: int) -> str:
    gaps = sorted({reading.gap_mm or 0.0 for reading in group}, reverse=True)
    if len(gaps) == count and count > 1:
        return "every blade"
    return ", ".join(format_blade(gap) for gap in gaps)


def _row_of(what: str, causes: Sequence[Cause], gauge_id: int | None) -> UncertaintyRow:
    if not causes:
        return UncertaintyRow(what, (), "0", "0", "", gauge_id, False)
    budget = combine_budget(causes)
    note = ""
    if isfinite(budget.dof) and budget.coverage_factor > FEW_DOF_FACTOR:
        note = (
            f"from few repeats ({plural(int(budget.dof), 'degree')} of freedom): "
            f"k = {budget.coverage_factor:.1f} would be needed for 95 of 100"
        )
    return UncertaintyRow(
        what=what,
        causes=tuple(f"{cause.what}: {format_u(cause.u_mm)}" for cause in causes),
        u=format_u(budget.u_mm),
        expanded_u=format_u(expanded(budget.u_mm)),
        note=note,
        gauge_id=gauge_id,
        assumed=any("assumed" in cause.what for cause in causes),
    )
