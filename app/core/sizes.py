"""What the gauges really were on a day, and the readings as they tell them.

A gauge's size is known by dated checks. Readings use the size **in force on their day**: that of
the latest check not later than that day, else the marked one. A later check shows that the gauge
had changed by then, not when: somewhere between the check before and this one. So the value used
stays that of its day, and beside it stands what the readings would come to **as if it had already
been so**; the truth lies at one of the two or between them. Nothing stored ever changes.

A mark of a glass, wedge or bore gauge that stands elsewhere than it says moves what is read on it.
A blade that is thinner than marked changes the gap at which it stopped. So that blades keep their
names and days can be compared like with like, that is told as the place where a blade of the
marked size would have stopped: in √h against s a plain facing is nearly a straight line, so a
straight line (two blades) or one with an even bend (three or more) through the readings carries
the stop from the gap it was to the gap it is named after. The shift is small, and so is its error.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from math import hypot, sqrt

import numpy as np

from app.core.forms import format_date
from app.core.measurements import RAILS, ReadingEntry, facing_of
from app.core.readings import FacingReadings, Uncertainties
from app.core.uncertainty import Cause, combined, rectangular, repeatability, resolution, tolerance
from app.core.units import SCALES

# Where the shop has no study: with half numbers read on a half-millimetre glass this makes
# 0.15 mm in position, and 0.01 mm at the tip, the defaults of the analysis service.
ASSUMED_REPEATABILITY_MM: Mapping[str, float] = {"blade": 0.13, "tip": 0.01, "bore": 0.01}
ASSUMED_BLADE_TOLERANCE_MM = 0.005
# How wrong the carrying of a stop is, as a part of it: seen on all six curves (tests/core)
CARRY_U = 0.1
SAME_MM = 1e-6  # a nanometre: no more than rounding
TOLD_APART = 0.1  # of its standard uncertainty: a correction below that is not worth making

RECORDED, IN_FORCE, LATER = "recorded", "in force", "later"


@dataclass(frozen=True, slots=True)
class SizeCheck:
    """One standing check: at `mark_mm` (None for a blade) the gauge truly measures `actual_mm`."""

    on: date
    mark_mm: float | None
    actual_mm: float
    u_mm: float


@dataclass(frozen=True, slots=True)
class StudiedRepeat:
    """A repeatability taken over from a study of that day: standard deviation in mm."""

    on: date
    deviation_mm: float
    dof: float


@dataclass(frozen=True, slots=True)
class GaugeFacts:
    """All that is known of one gauge; checks and studies by day. Lengths in mm."""

    id: int
    kind: str
    label: str
    nominal_mm: float | None = None
    scale: str | None = None
    resolution_mm: float | None = None
    tolerance_mm: float | None = None
    repeatability_mm: float | None = None
    retired: bool = False
    checks: tuple[SizeCheck, ...] = ()
    studies: tuple[StudiedRepeat, ...] = ()


def checks_in_force(gauge: GaugeFacts, day: date) -> tuple[SizeCheck, ...]:
    """Give the checks of the last day not later than `day` on which it was checked; none is ()."""
    last = max((check.on for check in gauge.checks if check.on <= day), default=None)
    return tuple(check for check in gauge.checks if check.on == last)


def checks_after(gauge: GaugeFacts, day: date) -> tuple[SizeCheck, ...]:
    """Give the checks of the first day later than `day` on which it was checked; none is ()."""
    first = min((check.on for check in gauge.checks if check.on > day), default=None)
    return tuple(check for check in gauge.checks if check.on == first)


def repeat_in_force(gauge: GaugeFacts, day: date) -> StudiedRepeat | None:
    """Give the study in force on a day: the last not later, else the first.

    Unlike a size a hand does not wear, so readings older than the first study use that one: it
    is the only thing known of how they repeat.
    """
    before = [study for study in gauge.studies if study.on <= day]
    return before[-1] if before else gauge.studies[0] if gauge.studies else None


@dataclass(frozen=True, slots=True)
class Sized:
    """A length in mm and its standard uncertainty."""

    mm: float
    u_mm: float


def true_thickness(
    gauge: GaugeFacts | None, checks: Sequence[SizeCheck], recorded_mm: float
) -> Sized:
    """Give a blade's thickness by its checks (the last one entered), else as marked now.

    Without a check it is known within its tolerance, ± 0.005 mm where none is written.
    """
    if checks:
        return Sized(checks[-1].actual_mm, checks[-1].u_mm)
    known = gauge.tolerance_mm if gauge else None
    half_width = ASSUMED_BLADE_TOLERANCE_MM if known is None else known
    marked = gauge.nominal_mm if gauge else None
    return Sized(recorded_mm if marked is None else marked, rectangular(half_width))


def true_length(gauge: GaugeFacts | None, checks: Sequence[SizeCheck], shown_mm: float) -> Sized:
    """Give the true length where an engraved gauge shows `shown_mm`.

    One mark checked: every mark is off by the same. Marks at two places or more, checked on one
    day: a straight line through them by least squares, error = e̅ + c·(shown − m̅). Its standard
    uncertainty is u·√(1 + (shown − m̅)²/Σ(m − m̅)²) with u the largest of the checks', or the
    scatter about the line if that is more; it is not divided by the number of marks, because what
    they were checked with errs alike at each.
    """
    if not checks:
        known = gauge.tolerance_mm if gauge else None
        return Sized(shown_mm, rectangular(known) if known else 0.0)
    marks = np.array([check.mark_mm or 0.0 for check in checks])
    errors = np.array([check.actual_mm for check in checks]) - marks
    away = marks - marks.mean()
    spread = float(np.sum(away**2))
    u = max(check.u_mm for check in checks)
    if spread <= 1e-6:
        return Sized(shown_mm + float(errors.mean()), u)
    bend = float(np.sum(away * errors)) / spread
    if len(checks) > 2:
        left = errors - errors.mean() - bend * away
        u = max(u, sqrt(float(np.sum(left**2)) / (len(checks) - 2)))
    off = shown_mm - float(marks.mean())
    return Sized(shown_mm + float(errors.mean()) + bend * off, u * sqrt(1.0 + off**2 / spread))


@dataclass(frozen=True, slots=True)
class SetSizes:
    """The gauges a reading set was taken with, by id, and the day that counts."""

    day: date
    gauges: Mapping[int, GaugeFacts] = field(default_factory=dict)
    glass_id: int | None = None
    wedge_id: int | None = None
    bore_gauge_id: int | None = None

    def find(self, gauge_id: int | None) -> GaugeFacts | None:
        """Give a gauge, if it is known."""
        return None if gauge_id is None else self.gauges.get(gauge_id)

    def marked(self, reading: ReadingEntry) -> GaugeFacts | None:
        """Give the gauge on whose marks a reading was read."""
        usual = {"blade": self.glass_id, "tip": self.wedge_id, "bore": self.bore_gauge_id}
        if reading.quantity == "blade":
            return self.find(self.glass_id)
        return self.find(reading.gauge_id or usual.get(reading.quantity))

    def checks(self, gauge: GaugeFacts | None, when: str) -> tuple[SizeCheck, ...]:
        """Give the checks that count: none as recorded, those in force, or the next later ones."""
        if gauge is None or when == RECORDED:
            return ()
        later = checks_after(gauge, self.day) if when == LATER else ()
        return later or checks_in_force(gauge, self.day)


@dataclass(frozen=True, slots=True)
class ToldReading:
    """One reading as the gauges tell it, in mm.

    For a blade `value_mm` is where one of `gap_mm`, its marked size, would have stopped; the gap
    is the blade's own size only where the readings give no slope to carry the stop along.
    `thickness_mm` is what the blade really was.
    """

    value_mm: float
    u_mm: float
    gap_mm: float | None = None
    gap_u_mm: float | None = None
    thickness_mm: float | None = None


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
        return _differ(self.recorded, self.in_force)


def tells_apart(one: ToldReading, other: ToldReading) -> bool:
    """Say whether two ways of telling a reading differ by enough to speak of."""
    least = max(SAME_MM, TOLD_APART * min(one.u_mm, other.u_mm))
    return abs(one.value_mm - other.value_mm) > least or one.gap_mm != other.gap_mm


def _differ(some: Sequence[ToldReading], others: Sequence[ToldReading]) -> bool:
    return any(tells_apart(one, other) for one, other in zip(some, others, strict=True))


def _unless_alike(
    before: Sequence[ToldReading], after: Sequence[ToldReading]
) -> tuple[ToldReading, ...]:
    """Keep the value from before where the one after does not tell itself apart from it."""
    return tuple(
        other if tells_apart(one, other) else replace(other, value_mm=one.value_mm)
        for one, other in zip(before, after, strict=True)
    )


def correct_readings(readings: Sequence[ReadingEntry], sizes: SetSizes) -> CorrectedReadings:
    """Give a reading set as recorded, by the sizes in force on its day, and as if already worn.

    Every stop and the tip opening carry their own standard uncertainty, from the resolution and
    the repeatability (`reading_causes`) and how well the sizes are known. A correction of less
    than a tenth of that is left out: it would only turn 34 into 33.99.
    """
    recorded = _tell(readings, sizes, RECORDED)
    in_force = _unless_alike(recorded, _tell(readings, sizes, IN_FORCE))
    later: tuple[ToldReading, ...] | None = _unless_alike(in_force, _tell(readings, sizes, LATER))
    later = later if later and _differ(in_force, later) else None
    facing = _facing(readings, in_force)
    return CorrectedReadings(
        recorded=recorded,
        in_force=in_force,
        later=later,
        recorded_facing=_facing(readings, recorded),
        facing=facing,
        later_facing=None if later is None else _facing(readings, later),
        uncertainties=_whole_set(facing),
    )


def _tell(readings: Sequence[ReadingEntry], sizes: SetSizes, when: str) -> tuple[ToldReading, ...]:
    told = []
    for one in readings:
        gauge = sizes.marked(one)
        true = true_length(gauge, sizes.checks(gauge, when), one.value_mm)
        u_mm = hypot(combined(reading_causes(one, sizes)), true.u_mm)
        if one.quantity != "blade" or one.gap_mm is None:
            told.append(ToldReading(true.mm, u_mm))
            continue
        blade = sizes.find(one.gauge_id)
        size = true_thickness(blade, sizes.checks(blade, when), one.gap_mm)
        thickness = one.gap_mm if when == RECORDED else size.mm
        told.append(ToldReading(true.mm, u_mm, one.gap_mm, size.u_mm, thickness))
    tips = [
        true.value_mm for one, true in zip(readings, told, strict=True) if one.quantity == "tip"
    ]
    return _carry_stops(told, tips)


def _carry_stops(told: Sequence[ToldReading], tips: Sequence[float]) -> tuple[ToldReading, ...]:
    """Put every stop where a blade of the marked size would have stopped."""
    # a blade that stood at the tip and did not go in says nothing of the slope
    stops = [one for one in told if one.thickness_mm is not None and one.value_mm > 0.0]
    if all(abs((one.thickness_mm or 0.0) - (one.gap_mm or 0.0)) <= SAME_MM for one in stops):
        return tuple(told)
    shift = _shifting(stops, tips)
    return tuple(_carry_stop(one, shift) if one in stops else one for one in told)


Shift = Callable[[float, float], float]


def _carry_stop(stop: ToldReading, shift: Shift | None) -> ToldReading:
    if shift is None:
        return replace(stop, gap_mm=stop.thickness_mm)
    by = shift(stop.thickness_mm or 0.0, stop.gap_mm or 0.0)
    u_mm = hypot(stop.u_mm, CARRY_U * by)
    return replace(stop, value_mm=max(stop.value_mm + by, 0.0), u_mm=u_mm)


def _shifting(stops: Sequence[ToldReading], tips: Sequence[float]) -> Shift | None:
    """Fit s = a + b·√h (+ c·h with three blades or more); give how far a stop moves, gap to gap.

    The tip, a stop at s = 0, stands in only where one blade was read: facings in trade use often
    leave their rails' curve there. None where the readings don't fall from tip to table.
    """
    roots = [sqrt(one.thickness_mm or 0.0) for one in stops]
    places = [one.value_mm for one in stops]
    if len({round(root, 9) for root in roots}) < 2 and tips:
        roots, places = [*roots, sqrt(tips[0])], [*places, 0.0]
    kinds = len({round(root, 9) for root in roots})
    for degree in range(min(kinds - 1, 2), 0, -1):
        line = np.polynomial.Polynomial.fit(roots, places, degree)
        slope = line.deriv()
        if all(slope(root) < 0.0 for root in roots):
            return lambda old, new: float(line(sqrt(new)) - line(sqrt(old)))
    return None


def _facing(readings: Sequence[ReadingEntry], told: Sequence[ToldReading]) -> FacingReadings:
    """Gather the facing from what is told, every stop and the tip with its own uncertainty."""
    moved, u_of, tip_u = [], {}, None
    for one, value in zip(readings, told, strict=True):
        moved.append(replace(one, value_mm=value.value_mm, gap_mm=value.gap_mm))
        u_of[one.rail, value.gap_mm, value.value_mm] = value
        if one.quantity == "tip" and tip_u is None:
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
    return replace(facing, left=rails["left"], right=rails["right"], tip_u_mm=tip_u)


def _whole_set(facing: FacingReadings) -> Uncertainties:
    """Give the set's largest uncertainties, for what is not told stop by stop."""
    usual, stops = Uncertainties(), (*facing.left, *facing.right)
    return replace(
        usual,
        position_mm=max((stop.position_u_mm or 0.0 for stop in stops), default=usual.position_mm),
        gap_mm=max((stop.gap_u_mm or 0.0 for stop in stops), default=usual.gap_mm),
        tip_mm=usual.tip_mm if facing.tip_u_mm is None else facing.tip_u_mm,
    )


def reading_causes(reading: ReadingEntry, sizes: SetSizes) -> tuple[Cause, ...]:
    """List why a reading scatters: the step its marks are read to, and the hand's repeatability.

    A blade's own study comes before its glass's; a study taken over before a figure typed; and
    where there is neither, the service's default is assumed and said to be.
    """
    marked = sizes.marked(reading)
    step = marked.resolution_mm if marked else None
    if step is None:
        step = SCALES[reading.scale].step_mm if reading.scale in SCALES else 0.0
    gauges = [marked]
    if reading.quantity == "blade":
        gauges.insert(0, sizes.find(reading.gauge_id))
    known = next(
        (cause for gauge in gauges if gauge and (cause := known_repeatability(gauge, sizes.day))),
        None,
    )
    return resolution(step), known or assumed_repeatability(reading.quantity)


def known_repeatability(gauge: GaugeFacts, day: date) -> Cause | None:
    """Give what is known of a gauge's repeatability on a day: its study, else what was typed."""
    if study := repeat_in_force(gauge, day):
        what = f"repeatability, by the study of {format_date(study.on)}"
        return repeatability(study.deviation_mm, dof=study.dof, what=what)
    if gauge.repeatability_mm is not None:
        return repeatability(gauge.repeatability_mm, what="repeatability, as written")
    return None


def assumed_repeatability(quantity: str) -> Cause:
    """Give the repeatability assumed where there is no study, in words that say so."""
    assumed = ASSUMED_REPEATABILITY_MM.get(quantity, ASSUMED_REPEATABILITY_MM["tip"])
    return repeatability(assumed, what=f"repeatability, not studied yet; {assumed:g} mm assumed")


def size_cause(gauge: GaugeFacts | None, day: date, shown_mm: float) -> Cause:
    """Give how well a gauge's size, or the mark at `shown_mm`, is known on a day."""
    checks = checks_in_force(gauge, day) if gauge else ()
    if gauge is not None and gauge.kind == "blade":
        if checks:
            return Cause(f"size, by the check of {format_date(checks[-1].on)}", checks[-1].u_mm)
        if gauge.tolerance_mm is None:
            assumed = ASSUMED_BLADE_TOLERANCE_MM
            return tolerance(assumed, f"size, not checked yet; ± {assumed:g} mm assumed")
        return tolerance(gauge.tolerance_mm, f"size, within ± {gauge.tolerance_mm:g} mm")
    size = true_length(gauge, checks, shown_mm)
    if checks:
        return Cause(f"marks, by the check of {format_date(checks[-1].on)}", size.u_mm)
    known = gauge.tolerance_mm if gauge else None
    words = f"marks, within ± {known:g} mm" if known else "marks, taken as true"
    return Cause(words, size.u_mm)
