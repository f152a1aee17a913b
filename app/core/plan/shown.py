"""What these very gauges will show: a plan's places told as blades, glass and wedge will read them.

A plan tells where a blade of the marked size stops. A blade worn thin goes further in, a glass may
stand off, and a maker reads to a step; so a number to check by is turned back into what is seen
there, and rounded to that step. `low` to `high` is what a careful hand may read (95 %).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from math import hypot

from app.core.facing.corrections import Shift, find_shift
from app.core.facing.evenness import blade_key
from app.core.facing.measurements import RAILS, GaugesInUse
from app.core.gauges.sizes import (
    IN_FORCE,
    SetSizes,
    reading_causes,
    reading_step,
    shown_length,
    true_thickness,
)
from app.core.plan.plan_values import ExpectedReadings, ExpectedStop
from app.core.values.readings import BladeStop, FacingReadings, ReadingEntry
from app.core.values.uncertainty import K_95
from app.core.values.units import Scale, format_on_scale

NOT_IN = "–"
HALF_OF_ROUNDING_MM = 1e-6


@dataclass(frozen=True, slots=True)
class Shown:
    """One number as the gauge will show it, in mm by its marks, with the least and the most."""

    mm: float
    low_mm: float
    high_mm: float

    def holds(self, read_mm: float) -> bool:
        """Whether a reading is one that may be read here."""
        slack = HALF_OF_ROUNDING_MM
        return self.low_mm - slack <= read_mm <= self.high_mm + slack


@dataclass(frozen=True, slots=True)
class ShownFacing:
    """A facing by what is read: each rail's stops by blade, None where one does not go in."""

    left: Mapping[float, Shown | None]
    right: Mapping[float, Shown | None]
    tip: Shown | None

    def agrees(self, read: FacingReadings) -> bool:
        """Whether readings, as typed, are what may be read here: all of them, and one at least."""
        pairs: list[tuple[Shown | None, float]] = []
        for rail in RAILS:
            shown = getattr(self, rail)
            by_key = {blade_key(gap): number for gap, number in shown.items()}
            pairs += [
                (by_key[blade_key(stop.gap_mm)], stop.position_mm)
                for stop in getattr(read, rail)
                if blade_key(stop.gap_mm) in by_key
            ]
        if read.tip_opening_mm is not None:
            pairs.append((self.tip, read.tip_opening_mm))
        return bool(pairs) and all(number is not None and number.holds(mm) for number, mm in pairs)


@dataclass(frozen=True, slots=True)
class Showing:
    """The gauges in use and what is known of their sizes, by the last check of each."""

    gauges: GaugesInUse
    sizes: SetSizes = field(default_factory=lambda: SetSizes(date.max))

    def show(self, readings: ExpectedReadings | FacingReadings) -> ShownFacing:
        """Turn places told for blades of the marked size into what will be read."""
        left, right = _stops(readings.left), _stops(readings.right)
        facing = FacingReadings(left, right, readings.tip_opening_mm)
        rails = []
        for rail in RAILS:
            shift = find_shift(facing, rail)
            rails.append(
                {
                    stop.gap_mm: None
                    if stop.position_mm is None
                    else self._show_stop(stop.gap_mm, stop.position_mm, shift)
                    for stop in getattr(readings, rail)
                }
            )
        tip = readings.tip_opening_mm
        return ShownFacing(
            rails[0], rails[1], None if tip is None else self._show("tip", None, None, tip)
        )

    def _show_stop(self, gap_mm: float, position_mm: float, shift: Shift | None) -> Shown:
        key = blade_key(gap_mm)
        used = self.gauges.blades
        gauge_id = next((blade.gauge_id for blade in used if blade_key(blade.gap_mm) == key), None)
        gauge = self.sizes.find(gauge_id)
        checks = self.sizes.checks(gauge, IN_FORCE)
        thickness = true_thickness(gauge, checks, gap_mm).mm if checks else gap_mm
        moved = shift(gap_mm, thickness) if shift else 0.0
        return self._show("blade", gauge_id, gap_mm, max(0.0, position_mm + moved))

    def _show(self, quantity: str, gauge_id: int | None, gap: float | None, mm: float) -> Shown:
        scale = self.gauges.tip if quantity == "tip" else self.gauges.glass
        entry = ReadingEntry(quantity, "", gauge_id, gap, None, "", scale.key, mm)
        gauge = self.sizes.marked(entry)
        seen = shown_length(gauge, self.sizes.checks(gauge, IN_FORCE), mm)
        hand = reading_causes(entry, self.sizes)[1].u_mm
        laid = self.sizes.laying_u_mm if quantity == "blade" else 0.0
        expanded_u = K_95 * hypot(hand, laid)
        step = reading_step(entry, self.sizes)
        return Shown(*(_to_step(seen + by, step) for by in (0.0, -expanded_u, expanded_u)))


def _stops(stops: Sequence[ExpectedStop | BladeStop]) -> tuple[BladeStop, ...]:
    return tuple(
        BladeStop(stop.gap_mm, stop.position_mm) for stop in stops if stop.position_mm is not None
    )


def _to_step(mm: float, step_mm: float) -> float:
    return max(0.0, round(mm / step_mm) * step_mm) if step_mm > 0 else mm


def write_pair(left: Shown | None, right: Shown | None, scale: Scale, *, both: bool) -> str:
    """Write what is read on both rails: one number where they are alike or one is told only."""
    sides = (left, right) if both else (left or right,)
    written = [NOT_IN if side is None else format_on_scale(side.mm, scale) for side in sides]
    return "/".join(dict.fromkeys(written))


def write_blade(shown: ShownFacing, gap_mm: float, scale: Scale) -> str:
    """Write where a blade stops: 21.5, or 21.5/22 where the rails differ; empty if not told."""
    rails = [rail for rail in (shown.left, shown.right) if gap_mm in rail]
    if not rails:
        return ""
    return write_pair(shown.left.get(gap_mm), shown.right.get(gap_mm), scale, both=len(rails) == 2)


def write_span(shown: ShownFacing, gap_mm: float | None, scale: Scale) -> str:
    """Write what may be read there, "21 to 22"; `gap_mm` None is the tip. Empty where nothing."""
    if gap_mm is None:
        sides = [shown.tip]
    else:
        sides = [rail.get(gap_mm) for rail in (shown.left, shown.right)]
    numbers = [side for side in sides if side is not None]
    if not numbers:
        return ""
    low, high = min(number.low_mm for number in numbers), max(number.high_mm for number in numbers)
    ends = [format_on_scale(mm, scale) for mm in (low, high)]
    return " to ".join(dict.fromkeys(ends))


def write_shown(shown: ShownFacing, gauges: GaugesInUse) -> str:
    """Write a facing as the shop's notebook has it, such as 30 21 11.5 4.5 / 1.04."""
    gaps = sorted({*shown.left, *shown.right}, reverse=not gauges.thin_first)
    line = " ".join(write_blade(shown, gap, gauges.glass) for gap in gaps)
    if shown.tip is not None:
        line += f" / {format_on_scale(shown.tip.mm, gauges.tip)}"
    return line.strip()
