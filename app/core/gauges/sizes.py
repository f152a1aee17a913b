"""What the gauges really were on a day, how that is known, and how well readings with them repeat.

A gauge's size is known by dated checks. Readings use the size **in force on their day**: that of
the latest check not later than that day, else the marked one. A later check shows that the gauge
had changed by then, not when: somewhere between the check before and this one. What that makes of
readings is in `corrections`.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import lru_cache
from math import sqrt

import numpy as np

from app.core.gauges.hand_gauges import HAND_STEPS, step_of
from app.core.values.forms import format_date
from app.core.values.readings import ReadingEntry
from app.core.values.uncertainty import Cause, rectangular, repeatability, resolution, tolerance
from app.core.values.units import SCALES

# Where the shop has no study: with half numbers read on a half-millimetre glass this makes
# 0.15 mm in position, and 0.01 mm at the tip, the defaults of the analysis service.
# A dial read to 0.01 mm makes 0.005 mm. Another length repeats to half a step (`hand_gauges`).
ASSUMED_REPEATABILITY_MM: Mapping[str, float] = {
    "blade": 0.13, "tip": 0.01, "bore": 0.01, "dial": 0.004,
}  # fmt: skip
ASSUMED_BLADE_TOLERANCE_MM = 0.005
# How well the glass's end meets the tip each time it is laid: a finger feels a step of some 0.04 mm
# (our assumption, no source). It moves all stops of a set alike.
ASSUMED_LAYING_MM = 0.02

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
    laying_mm: float | None = None
    retired: bool = False
    checks: tuple[SizeCheck, ...] = ()
    studies: tuple[StudiedRepeat, ...] = ()


class Register(Mapping[int, GaugeFacts]):
    """What is known of every gauge, by id. Two of the same content are one (`hold_register`)."""

    __slots__ = ("_gauges",)

    def __init__(self, gauges: Iterable[GaugeFacts] = ()) -> None:
        self._gauges = {gauge.id: gauge for gauge in gauges}

    def __getitem__(self, gauge_id: int) -> GaugeFacts:
        """A gauge; raises KeyError."""
        return self._gauges[gauge_id]

    def __iter__(self) -> Iterator[int]:
        """List the gauges' ids."""
        return iter(self._gauges)

    def __len__(self) -> int:
        """Count the gauges."""
        return len(self._gauges)

    # told apart as objects, so that they may be part of what a result is kept under
    __hash__ = object.__hash__
    __eq__ = object.__eq__


@lru_cache(maxsize=16)
def hold_register(gauges: tuple[GaugeFacts, ...]) -> Register:
    """Make a register, or give the one that was made of the same gauges."""
    return Register(gauges)


def checks_in_force(gauge: GaugeFacts, day: date) -> tuple[SizeCheck, ...]:
    """The checks of the last day not later than `day` on which it was checked; none is ()."""
    last = max((check.on for check in gauge.checks if check.on <= day), default=None)
    return tuple(check for check in gauge.checks if check.on == last)


def checks_after(gauge: GaugeFacts, day: date) -> tuple[SizeCheck, ...]:
    """The checks of the first day later than `day` on which it was checked; none is ()."""
    first = min((check.on for check in gauge.checks if check.on > day), default=None)
    return tuple(check for check in gauge.checks if check.on == first)


def repeat_in_force(gauge: GaugeFacts, day: date) -> StudiedRepeat | None:
    """The study in force on a day: the last not later, else the first.

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
    """A blade's thickness by its checks (the last one entered), else as marked now.

    Without a check it is known within its tolerance, ± 0.005 mm where none is written.
    """
    if checks:
        return Sized(checks[-1].actual_mm, checks[-1].u_mm)
    known = gauge.tolerance_mm if gauge else None
    half_width = ASSUMED_BLADE_TOLERANCE_MM if known is None else known
    marked = gauge.nominal_mm if gauge else None
    return Sized(recorded_mm if marked is None else marked, rectangular(half_width))


def true_length(gauge: GaugeFacts | None, checks: Sequence[SizeCheck], shown_mm: float) -> Sized:
    """The true length where an engraved gauge shows `shown_mm`.

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
    squares = float(np.sum(away**2))
    u = max(check.u_mm for check in checks)
    if squares <= 1e-6:
        return Sized(shown_mm + float(errors.mean()), u)
    bend = float(np.sum(away * errors)) / squares
    if len(checks) > 2:
        left = errors - errors.mean() - bend * away
        u = max(u, sqrt(float(np.sum(left**2)) / (len(checks) - 2)))
    off = shown_mm - float(marks.mean())
    return Sized(shown_mm + float(errors.mean()) + bend * off, u * sqrt(1.0 + off**2 / squares))


def shown_length(gauge: GaugeFacts | None, checks: Sequence[SizeCheck], true_mm: float) -> float:
    """What an engraved gauge shows where the true length is `true_mm`: `true_length` back."""
    start, end = (true_length(gauge, checks, shown).mm for shown in (0.0, 1.0))
    # the marks' error is a straight line
    return true_mm if end <= start else (true_mm - start) / (end - start)


@dataclass(frozen=True, slots=True)
class SetSizes:
    """The gauges a reading set was taken with, by id, and the day that counts."""

    day: date
    gauges: Mapping[int, GaugeFacts] = field(default_factory=Register)
    glass_id: int | None = None
    wedge_id: int | None = None
    bore_gauge_id: int | None = None

    def find(self, gauge_id: int | None) -> GaugeFacts | None:
        """A gauge, if it is known."""
        return None if gauge_id is None else self.gauges.get(gauge_id)

    @property
    def laying_u_mm(self) -> float:
        """The standard uncertainty of laying the glass, as written for it, else as assumed."""
        glass = self.find(self.glass_id)
        known = glass.laying_mm if glass else None
        return ASSUMED_LAYING_MM if known is None else known

    def marked(self, reading: ReadingEntry) -> GaugeFacts | None:
        """The gauge on whose marks a reading was read."""
        usual = {"blade": self.glass_id, "tip": self.wedge_id, "bore": self.bore_gauge_id}
        if reading.quantity == "blade":
            return self.find(self.glass_id)
        return self.find(reading.gauge_id or usual.get(reading.quantity))

    def checks(self, gauge: GaugeFacts | None, when: str) -> tuple[SizeCheck, ...]:
        """The checks that count: none as recorded, those in force, or the next later ones."""
        if gauge is None or when == RECORDED:
            return ()
        later = checks_after(gauge, self.day) if when == LATER else ()
        return later or checks_in_force(gauge, self.day)


def reading_step(reading: ReadingEntry, sizes: SetSizes) -> float:
    """The finest difference a reading tells, in mm (or ml): its gauge's step, as written."""
    marked = sizes.marked(reading)
    step = marked.resolution_mm if marked else None
    if reading.quantity not in {"blade", "tip"}:
        return step_of(reading, step)
    if step is None:
        step = SCALES[reading.scale].step_mm if reading.scale in SCALES else 0.0
    return step


def reading_causes(reading: ReadingEntry, sizes: SetSizes) -> tuple[Cause, ...]:
    """List why a reading scatters: the step its marks are read to, and the hand's repeatability.

    A blade's own study comes before its glass's; a study taken over before a figure typed; and
    where there is neither, the service's default is assumed and said to be.
    """
    gauges = [sizes.marked(reading)]
    if reading.quantity == "blade":
        gauges.insert(0, sizes.find(reading.gauge_id))
    step = reading_step(reading, sizes)
    known = next(
        (
            cause
            for gauge in gauges
            if gauge and (cause := known_repeatability(gauge, sizes.day, step))
        ),
        None,
    )
    return resolution(step), known or assumed_repeatability(reading.quantity, step)


def known_repeatability(gauge: GaugeFacts, day: date, step_mm: float) -> Cause | None:
    """What is known of a gauge's repeatability on a day: its study, else what was typed.

    A hand that repeats within the step of the marks shows no scatter and has some: a study whose
    repeats were all equal counts for the step's own uncertainty.
    """
    if study := repeat_in_force(gauge, day):
        what = f"repeatability, by the study of {format_date(study.on)}"
        if study.deviation_mm == 0.0:
            return repeatability(resolution(step_mm).u_mm, what=f"{what}: within the step")
        return repeatability(study.deviation_mm, dof=study.dof, what=what)
    if gauge.repeatability_mm is not None:
        return repeatability(gauge.repeatability_mm, what="repeatability, as written")
    return None


def assumed_repeatability(quantity: str, step_mm: float) -> Cause:
    """The repeatability assumed where there is no study, in words that say so."""
    assumed = ASSUMED_REPEATABILITY_MM.get(quantity)
    if assumed is None:
        what = "repeatability, not studied yet; half a step assumed"
        return repeatability(HAND_STEPS * step_mm, what=what)
    return repeatability(assumed, what=f"repeatability, not studied yet; {assumed:g} mm assumed")


def size_cause(gauge: GaugeFacts | None, day: date, shown_mm: float) -> Cause:
    """How well a gauge's size, or the mark at `shown_mm`, is known on a day."""
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
