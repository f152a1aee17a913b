"""After minus before, as one vector with its covariance, and how rarely chance makes so much.

A reading has errors of its own, the hand and the step its marks are read to. Others it shares: the
glass is laid once for all stops of a set, and on a table that rocks it may lie either way; a
blade's size moves its stop on both rails; a gauge's marks move all that is read on them. What one
and the same gauge does in both sets cancels, what another does in its place doesn't.
"""

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from math import exp, hypot, pi, sqrt
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from app.core.compare.table_profiles import TableProfile, judge_table
from app.core.facing.corrections import Shift, ToldReading, find_shift, stop_slope
from app.core.facing.evenness import blade_key
from app.core.values.lengths import length_key
from app.core.values.readings import FacingReadings, ReadingEntry, Uncertainties
from app.core.values.uncertainty import propagate

Vector = NDArray[np.float64]
Key = tuple[Hashable, ...]
RAILS = ("left", "right")
NOTHING_MM = 1e-9  # a crumb of rounding in the arithmetic


@dataclass(frozen=True, slots=True)
class ReadSet:
    """One set of readings as it is compared.

    `told` says reading by reading what the gauges make of it and what can be wrong with it;
    `facing` is the same gathered for the fit. `laying_u_mm` is the standard uncertainty of laying
    the glass, which moves all stops of the set alike. `shortened`: the tip came off since.
    """

    facing: FacingReadings
    readings: tuple[ReadingEntry, ...] = ()
    told: tuple[ToldReading, ...] = ()
    laying_u_mm: float = 0.0
    uncertainties: Uncertainties = field(default_factory=Uncertainties)
    shortened: bool = False


NOT_READ = ReadSet(FacingReadings())


def shorten_facing(facing: FacingReadings, by_mm: float) -> FacingReadings:
    """Count a facing's readings from where the tip is once it was shortened, without its opening.

    The curve keeps its place on the table, so every position is less by `by_mm`; what came off with
    the tip is left out.
    """

    def moved(readings: Sequence[Any]) -> tuple[Any, ...]:
        left = (replace(reading, position_mm=reading.position_mm - by_mm) for reading in readings)
        return tuple(reading for reading in left if reading.position_mm > 0.0)

    names = ("left", "right", "dial_left", "dial_right")
    rails: dict[str, Any] = {name: moved(getattr(facing, name)) for name in names}
    return replace(facing, tip_opening_mm=None, tip_u_mm=None, **rails)


def shorten_set(each: ReadSet, by_mm: float) -> ReadSet:
    """Count a set's stops from where the tip is once it was shortened; the rest is as it was read.

    The tip stays in the readings, for it did open so far, but not in the facing that is fitted.
    """
    if not by_mm:
        return each
    pairs = []
    for reading, value in zip(each.readings, each.told, strict=True):
        if reading.quantity == "blade":
            if value.value_mm <= by_mm:
                continue
            reading = replace(reading, value_mm=reading.value_mm - by_mm)
            value = replace(value, value_mm=value.value_mm - by_mm)
        elif reading.quantity == "dial":
            place = (reading.depth_mm or 0.0) - by_mm
            if place <= 0.0:
                continue
            reading = replace(reading, depth_mm=place)
        pairs.append((reading, value))
    readings, values = zip(*pairs, strict=True) if pairs else ((), ())
    facing = shorten_facing(each.facing, by_mm)
    return replace(each, facing=facing, readings=readings, told=values, shortened=True)


def take_facing(
    facing: FacingReadings,
    uncertainties: Uncertainties = Uncertainties(),  # noqa: B008 - frozen
    *,
    blades: Hashable = "the shop's",
    laying_u_mm: float = 0.0,
) -> ReadSet:
    """Take a facing at its word, read with the blades that `blades` tells from others.

    Nothing is known of steps, so every error counts as normal.
    """
    pairs = [
        (
            ReadingEntry("blade", rail, None, stop.gap_mm, None, "", "", stop.position_mm),
            ToldReading(
                stop.position_mm,
                uncertainties.position_mm if stop.position_u_mm is None else stop.position_u_mm,
                stop.gap_mm,
                uncertainties.gap_mm if stop.gap_u_mm is None else stop.gap_u_mm,
                blade=(blades, blade_key(stop.gap_mm)),
            ),
        )
        for rail in RAILS
        for stop in getattr(facing, rail)
    ]
    if (tip := facing.tip_opening_mm) is not None:
        entry = ReadingEntry("tip", "", None, None, None, "", "", tip)
        pairs.append((entry, ToldReading(tip, facing.tip_u_mm or uncertainties.tip_mm)))
    readings, values = zip(*pairs, strict=True) if pairs else ((), ())
    return ReadSet(facing, readings, values, laying_u_mm, uncertainties)


def figure_key(reading: ReadingEntry) -> Key:
    """Tell what a reading is of, whenever it was taken and however its blade's size was written."""
    if reading.quantity == "blade":
        return "blade", reading.rail, blade_key(reading.gap_mm or 0.0)
    quantity, rail, depth, name = length_key(reading)
    # the exit bore has a cell of its own and is depth 0 all the same
    return quantity, rail, 0.0 if quantity == "bore" and depth is None else depth, name


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure of one set, in mm: its value, its own error, and by source what it shares.

    `reading` says what it is of, with its true value. `own_u` holds the hand and the step; a
    source's number is how far its standard uncertainty moves the figure.
    """

    reading: ReadingEntry
    own_u: float
    step: float
    shared: Mapping[Key, float]

    @property
    def value(self) -> float:
        """The figure itself."""
        return self.reading.value_mm


def list_figures(each: ReadSet, side: str) -> dict[Key, Figure]:
    """List a set's figures by what they are of; of repeats the mean is taken.

    `side` tells this set from the other, for what only its own readings share.
    """
    gathered: dict[Key, list[Figure]] = {}
    shifts = {rail: find_shift(each.facing, rail) for rail in RAILS}
    table = judge_table(each.readings, each.told)
    for reading, value in zip(each.readings, each.told, strict=True):
        true = replace(reading, value_mm=value.value_mm, gap_mm=value.gap_mm)
        shared = _list_shared(each, true, value, side, shifts.get(reading.rail))
        if table is not None and not table.is_firm:
            shared |= _list_rocking(each, true, table, side, shifts.get(reading.rail))
        own = sqrt(max(value.u_mm**2 - value.marks_u_mm**2, 0.0))
        figure = Figure(true, own, value.step_mm, shared)
        gathered.setdefault(figure_key(true), []).append(figure)
    return {key: _take_mean(figures) for key, figures in gathered.items()}


def _list_shared(
    each: ReadSet, reading: ReadingEntry, value: ToldReading, side: str, shift: Shift | None
) -> dict[Key, float]:
    shared: dict[Key, float] = {}
    if value.marks_u_mm:
        shared["marks", value.marks or (side, reading.quantity)] = value.marks_u_mm
    if reading.quantity == "blade":
        gap = reading.gap_mm or 0.0
        blade = value.blade or (side, blade_key(gap))
        shared["blade", blade] = stop_slope(shift, gap) * (value.gap_u_mm or 0.0)
        shared["laying", side] = each.laying_u_mm
    return shared


def _list_rocking(
    each: ReadSet, reading: ReadingEntry, table: TableProfile, side: str, shift: Shift | None
) -> dict[Key, float]:
    """How the glass may have lain on a table that isn't firm: along it, and from edge to edge."""
    if reading.quantity not in {"tip", "dial", "blade"}:
        return {}
    blade = reading.quantity == "blade"
    gap = reading.gap_mm or 0.0
    tilt_u = table.tilt_u(each.facing, reading.value_mm if blade else reading.depth_mm or 0.0)
    reach = -stop_slope(shift, gap) if blade else 1.0
    way = {"left": 1.0, "right": -1.0}.get(reading.rail, 0.0)
    shared: dict[Key, float] = {
        ("table along", side): reach * tilt_u,
        ("table across", side): reach * way * table.roll_u,
    }
    if blade and shift is not None:
        # the rail is so flat near the break that a blade goes further in than its slope says
        by = sqrt(3.0) * (abs(tilt_u) + table.roll_u)
        further = shift(gap, max(gap - by, 0.0)) - reach * by
        shared["table bent", side, blade_key(gap)] = further / sqrt(3.0)
    return shared


def _take_mean(figures: Sequence[Figure]) -> Figure:
    n = len(figures)
    if n == 1:
        return figures[0]
    mean = replace(figures[0].reading, value_mm=sum(figure.value for figure in figures) / n)
    return replace(
        figures[0],
        reading=mean,
        own_u=hypot(*(figure.own_u for figure in figures)) / n,
        step=figures[0].step / n,
    )


@dataclass(frozen=True, slots=True)
class Difference:
    """After minus before, one entry for each figure both sets have, and how sure they are."""

    keys: tuple[Key, ...]
    before: tuple[Figure, ...]
    after: tuple[Figure, ...]
    values: Vector
    covariance: Vector

    def total(self, weights: Vector) -> tuple[float, float, float]:
        """A weighted sum of figures before and after, and u of its difference."""
        before, after = (
            float(weights @ np.array([figure.value for figure in side]))
            for side in (self.before, self.after)
        )
        return before, after, sqrt(float(propagate(weights[None, :], self.covariance)[0, 0]))

    def chance(self, weights: Vector) -> float:
        """Say how rarely the gauges alone make the weighted sum differ by so much, either way.

        A single figure's steps are treated exactly. The mean of n takes steps n times as small,
        and half of one is taken off (the usual correction for continuity).
        """
        before, after, u = self.total(weights)
        used = np.flatnonzero(weights)
        steps = [(self.before[i].step, self.after[i].step) for i in used]
        if len(used) == 1:
            rounding = hypot(*steps[0]) / sqrt(12.0)
            unrounded = sqrt(max(u**2 - rounding**2, 0.0))
            return chance_of(after - before, unrounded, max(steps[0]))
        size = abs(after - before) - max(map(max, steps)) * float(np.abs(weights).min()) / 2.0
        return chance_of(max(size, 0.0), u)


def take_difference(before: ReadSet, after: ReadSet) -> Difference:
    """Pair what both sets have and put the covariance together from its sources.

    V = J·Jᵀ, with a column of J for each independent error in units of its standard uncertainty.
    """
    sides = list_figures(before, "before"), list_figures(after, "after")
    keys = tuple(key for key in sides[0] if key in sides[1])
    firsts, seconds = (tuple(side[key] for key in keys) for side in sides)
    sources: dict[Key, int] = {}
    for figure in (*firsts, *seconds):
        for source in figure.shared:
            sources.setdefault(source, len(sources))
    jacobian = np.zeros((len(keys), len(sources) + len(keys)))
    for row, (first, second) in enumerate(zip(firsts, seconds, strict=True)):
        for figure, sign in ((first, -1.0), (second, 1.0)):
            for source, moves in figure.shared.items():
                jacobian[row, sources[source]] += sign * moves
        jacobian[row, len(sources) + row] = max(hypot(first.own_u, second.own_u), NOTHING_MM)
    values = np.array([b.value - a.value for a, b in zip(firsts, seconds, strict=True)])
    covariance = propagate(jacobian, np.eye(jacobian.shape[1]))
    return Difference(keys, firsts, seconds, values, covariance)


def chance_of(difference: float, u: float, step: float = 0.0) -> float:
    """Say how rarely two readings of one thing differ by so much or more, in either direction.

    `u` is the standard uncertainty of the difference without rounding; both readings are rounded
    to `step`. Wherever the thing lies between two marks, all places alike, the rounded difference
    is the unrounded one, Δ, rounded up or down by chance, so P(D ≥ kq) = (G(kq − q) − G(kq))/q
    with G(a) = E max(Δ − a, 0). For q → 0 that is the normal's tail.
    """
    size = max(abs(difference) - NOTHING_MM, 0.0)
    if step <= NOTHING_MM:
        return 2.0 * float(ndtr(-size / u)) if u > 0.0 else float(size == 0.0)
    return min(1.0, 2.0 * (_excess(size - step, u) - _excess(size, u)) / step)


def _excess(a: float, u: float) -> float:
    """E max(Δ − a, 0) for Δ normal with mean 0 and standard deviation u."""
    if u <= NOTHING_MM:
        return max(-a, 0.0)
    z = a / u
    return u * exp(-z * z / 2.0) / sqrt(2.0 * pi) - a * float(ndtr(-z))
