"""Readings by what their gauges really were: as recorded, as in force, and as if already worn.

The value used is that of the sizes in force on the readings' day (`sizes`). Where a gauge was
checked later, beside it stands what the readings would come to **as if it had already been so**;
the truth lies at one of the two or between them. Nothing stored ever changes.

A mark of any other gauge than a blade that stands elsewhere than it says moves what is read on it.
A blade that is thinner than marked changes the gap at which it stopped. So that blades keep their
names and days can be compared like with like, that is told as the place where a blade of the
marked size would have stopped: in √h against s a plain facing is nearly a straight line, so a
straight line (two blades) or one with an even bend (three or more) through the readings carries
the stop from the gap it was to the gap it is named after. The shift is small, and so is its error.
"""

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, replace
from math import hypot, sqrt

import numpy as np

from app.core.facing.measurements import RAILS, facing_of
from app.core.gauges.sizes import (
    IN_FORCE,
    LATER,
    RECORDED,
    GaugeFacts,
    SetSizes,
    SizeCheck,
    reading_causes,
    reading_step,
    true_length,
    true_thickness,
)
from app.core.values.readings import DialReading, FacingReadings, ReadingEntry, Uncertainties
from app.core.values.uncertainty import combined

# How wrong the carrying of a stop is, as a part of it: seen on all six curves (tests/core)
CARRY_U = 0.1
SAME_MM = 1e-6  # a nanometre: no more than rounding
TOLD_APART = 0.1  # of its standard uncertainty: a correction below that is not worth making


@dataclass(frozen=True, slots=True)
class ToldReading:
    """One reading as the gauges tell it, in mm.

    For a blade `value_mm` is where one of `gap_mm`, its marked size, would have stopped; the gap
    is the blade's own size only where the readings give no slope to carry the stop along.
    `thickness_mm` is what the blade really was.

    `u_mm` holds the hand, the step (`step_mm`, its half-width over root three) and the marks
    (`marks_u_mm`); `gap_u_mm`, the blade's size, stands apart. `marks` and `blade` tell whose
    error those two are: readings that name the same share it. None shares it with its own set only.
    """

    value_mm: float
    u_mm: float
    gap_mm: float | None = None
    gap_u_mm: float | None = None
    thickness_mm: float | None = None
    step_mm: float = 0.0
    marks_u_mm: float = 0.0
    marks: Hashable = None
    blade: Hashable = None


@dataclass(frozen=True, slots=True)
class CorrectedReadings:
    """A reading set three ways, reading by reading in the order given, and as facings.

    `in_force` is what everything is worked out from. `later` is as if every gauge had already
    been what its next check found, None if no gauge was checked since or nothing would differ
    by enough to speak of.
    """

    recorded: tuple[ToldReading, ...]
    in_force: tuple[ToldReading, ...]
    later: tuple[ToldReading, ...] | None
    recorded_facing: FacingReadings
    facing: FacingReadings
    later_facing: FacingReadings | None
    uncertainties: Uncertainties

    @property
    def differs(self) -> bool:
        """Whether a gauge was, on that day, other than marked by enough to speak of."""
        return self.in_force is not self.recorded and _differ(self.recorded, self.in_force)


def tells_apart(value: ToldReading, other: ToldReading) -> bool:
    """Say whether two ways of telling a reading differ by enough to speak of."""
    least = max(SAME_MM, TOLD_APART * min(value.u_mm, other.u_mm))
    return abs(value.value_mm - other.value_mm) > least or value.gap_mm != other.gap_mm


def _differ(some: Sequence[ToldReading], others: Sequence[ToldReading]) -> bool:
    return any(tells_apart(value, other) for value, other in zip(some, others, strict=True))


def _unless_alike(
    before: Sequence[ToldReading], after: Sequence[ToldReading]
) -> tuple[ToldReading, ...]:
    """Keep the value from before where the one after does not tell itself apart from it."""
    return tuple(
        other if tells_apart(value, other) else replace(other, value_mm=value.value_mm)
        for value, other in zip(before, after, strict=True)
    )


def correct_readings(readings: Sequence[ReadingEntry], sizes: SetSizes) -> CorrectedReadings:
    """A reading set as recorded, by the sizes in force on its day, and as if already worn.

    Every stop and the tip opening carry their own standard uncertainty, from the resolution and
    the repeatability (`reading_causes`) and how well the sizes are known. A correction of less
    than a tenth of that is left out: it would only turn 34 into 33.99.
    """
    recorded = _tell(readings, sizes, RECORDED)
    recorded_facing = facing = _facing(readings, recorded)
    in_force, later = recorded, None
    if not _as_marked(readings, sizes):
        in_force = _unless_alike(recorded, _tell(readings, sizes, IN_FORCE))
        worn = _unless_alike(in_force, _tell(readings, sizes, LATER))
        later = worn if _differ(in_force, worn) else None
        facing = _facing(readings, in_force)
    return CorrectedReadings(
        recorded=recorded,
        in_force=in_force,
        later=later,
        recorded_facing=recorded_facing,
        facing=facing,
        later_facing=None if later is None else _facing(readings, later),
        uncertainties=_whole_set(facing),
    )


def _as_marked(readings: Sequence[ReadingEntry], sizes: SetSizes) -> bool:
    """Say whether every gauge was never checked and is marked as it was: nothing to correct."""
    for reading in readings:
        gauge, blade = sizes.marked(reading), sizes.find(reading.gauge_id)
        if gauge is not None and gauge.checks:
            return False
        if blade is not None and (blade.checks or blade.nominal_mm not in {None, reading.gap_mm}):
            return False
    return True


def _tell(readings: Sequence[ReadingEntry], sizes: SetSizes, when: str) -> tuple[ToldReading, ...]:
    values = []
    for reading in readings:
        gauge = sizes.marked(reading)
        checks = sizes.checks(gauge, when)
        true = true_length(gauge, checks, reading.value_mm)
        value = ToldReading(
            true.mm,
            hypot(combined(reading_causes(reading, sizes)), true.u_mm),
            step_mm=reading_step(reading, sizes),
            marks_u_mm=true.u_mm,
            marks=_source(gauge, checks),
        )
        if reading.quantity == "blade" and reading.gap_mm is not None:
            blade = sizes.find(reading.gauge_id)
            checks = sizes.checks(blade, when)
            size = true_thickness(blade, checks, reading.gap_mm)
            value = replace(
                value, gap_mm=reading.gap_mm, gap_u_mm=size.u_mm, blade=_source(blade, checks),
                thickness_mm=reading.gap_mm if when == RECORDED else size.mm,
            )  # fmt: skip
        values.append(value)
    tips = [
        true.value_mm
        for reading, true in zip(readings, values, strict=True)
        if reading.quantity == "tip"
    ]
    return _carry_stops(values, tips)


def _source(gauge: GaugeFacts | None, checks: Sequence[SizeCheck]) -> Hashable:
    """Name the one error a gauge's size has: that of the gauge, or of the check it is known by."""
    return None if gauge is None else (gauge.id, checks[-1].on if checks else None)


def _carry_stops(values: Sequence[ToldReading], tips: Sequence[float]) -> tuple[ToldReading, ...]:
    """Put every stop where a blade of the marked size would have stopped."""
    # a blade that stood at the tip and did not go in says nothing of the slope
    stops = [value for value in values if value.thickness_mm is not None and value.value_mm > 0.0]
    if all(abs((stop.thickness_mm or 0.0) - (stop.gap_mm or 0.0)) <= SAME_MM for stop in stops):
        return tuple(values)
    shift = _shifting([(stop.thickness_mm or 0.0, stop.value_mm) for stop in stops], tips)
    return tuple(_carry_stop(value, shift) if value in stops else value for value in values)


Shift = Callable[[float, float], float]


def _carry_stop(stop: ToldReading, shift: Shift | None) -> ToldReading:
    if shift is None:
        return replace(stop, gap_mm=stop.thickness_mm)
    by = shift(stop.thickness_mm or 0.0, stop.gap_mm or 0.0)
    u_mm = hypot(stop.u_mm, CARRY_U * by)
    return replace(stop, value_mm=max(stop.value_mm + by, 0.0), u_mm=u_mm)


def find_shift(facing: FacingReadings, rail: str) -> Shift | None:
    """Find how a rail's stops are carried from gap to gap; None if its blades don't tell."""
    read = [
        (stop.gap_mm, stop.position_mm) for stop in getattr(facing, rail) if stop.position_mm > 0.0
    ]
    return _shifting(read, [] if facing.tip_opening_mm is None else [facing.tip_opening_mm])


def stop_slope(shift: Shift | None, gap_mm: float) -> float:
    """How far a stop moves per mm of its blade's thickness, ds/dh < 0; 0 where nothing tells.

    It does not hang on which curve is chosen.
    """
    near = 1e-3 * gap_mm
    return 0.0 if shift is None else shift(gap_mm - near, gap_mm + near) / (2.0 * near)


def _shifting(stops: Sequence[tuple[float, float]], tips: Sequence[float]) -> Shift | None:
    """Fit s = a + b·√h (+ c·h with three blades or more) to gaps and positions.

    Gives how far a stop moves, gap to gap.

    The tip, a stop at s = 0, stands in only where one blade was read: facings in trade use often
    leave their rails' curve there. None where the readings don't fall from tip to table.
    """
    roots, places = [sqrt(gap) for gap, _ in stops], [place for _, place in stops]
    if len({round(root, 9) for root in roots}) < 2 and tips:
        roots, places = [*roots, sqrt(tips[0])], [*places, 0.0]
    kinds = len({round(root, 9) for root in roots})
    for degree in range(min(kinds - 1, 2), 0, -1):
        line = np.polynomial.Polynomial.fit(roots, places, degree)
        slope = line.deriv()
        if all(slope(root) < 0.0 for root in roots):
            return lambda old, new: float(line(sqrt(new)) - line(sqrt(old)))
    return None


def _facing(readings: Sequence[ReadingEntry], values: Sequence[ToldReading]) -> FacingReadings:
    """Gather the facing from what is told, every stop and the tip with its own uncertainty."""
    moved, u_of, tip_u = [], {}, None
    for reading, value in zip(readings, values, strict=True):
        if reading.value_mm != value.value_mm or reading.gap_mm != value.gap_mm:
            reading = replace(reading, value_mm=value.value_mm, gap_mm=value.gap_mm)
        moved.append(reading)
        u_of[reading.rail, value.gap_mm, value.value_mm] = value
        if reading.quantity == "tip" and tip_u is None:
            tip_u = value.u_mm
    facing = facing_of(moved)
    rails = {
        rail: tuple(
            replace(
                stop,
                gap_u_mm=u_of[rail, stop.gap_mm, stop.position_mm].gap_u_mm,
                position_u_mm=u_of[rail, stop.gap_mm, stop.position_mm].u_mm,
            )
            for stop in getattr(facing, rail)
        )
        for rail in RAILS
    }
    dials = {
        rail: tuple(
            DialReading(
                reading.depth_mm or 0.0, value.value_mm, value.u_mm if reading.gauge_id else None
            )
            for reading, value in zip(readings, values, strict=True)
            if reading.quantity == "dial" and reading.rail == rail
        )
        for rail in RAILS
    }
    return replace(
        facing, left=rails["left"], right=rails["right"], tip_u_mm=tip_u,
        dial_left=dials["left"], dial_right=dials["right"],
    )  # fmt: skip


def _whole_set(facing: FacingReadings) -> Uncertainties:
    """The set's largest uncertainties, for what is not told stop by stop."""
    usual, stops = Uncertainties(), (*facing.left, *facing.right)
    dials = [dial.u_mm(usual.dial_gap_mm) for dial in (*facing.dial_left, *facing.dial_right)]
    return replace(
        usual,
        position_mm=max((stop.position_u_mm or 0.0 for stop in stops), default=usual.position_mm),
        gap_mm=max((stop.gap_u_mm or 0.0 for stop in stops), default=usual.gap_mm),
        tip_mm=usual.tip_mm if facing.tip_u_mm is None else facing.tip_u_mm,
        dial_gap_mm=max(dials, default=usual.dial_gap_mm),
    )
