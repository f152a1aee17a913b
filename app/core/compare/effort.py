"""The closing effort: how hard one lay makes it to close a reed, beside another lay.

A reed is taken as a beam of constant width, thicker from the tip on, clamped where the lay leaves
the table, under the same pressure all along, kept off the lay (`beams`). The effort is the
pressure that leaves a tenth of the tip opening. Only the ratio of two is told: the reed's stiffness
and width cancel in it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from math import exp, hypot, log, sqrt

import numpy as np

from app.core.compare.beams import SHAPES, USUAL, find_effort
from app.core.compare.differences import RAILS, Figure, Key, ReadSet, list_figures
from app.core.facing.analysis import MalformedReading, analyse_facing
from app.core.facing.curves import CURVES
from app.core.facing.evenness import blade_key
from app.core.facing.fits import CurveFit, RailAnalysis
from app.core.facing.fitting import Tip, fit_curves, lay_out
from app.core.facing.stations import RailLine, line_of_readings
from app.core.facing.suspects import suspects_of
from app.core.values.readings import BladeStop
from app.core.values.uncertainty import K_95

STATIONS = 200


@dataclass(frozen=True, slots=True)
class EffortRatio:
    """The effort of the lay after over that of the lay before: 1.04 closes 4 % harder.

    `low` and `high` are 95 % limits from the readings, the curves and the shapes of reed; `reeds`
    is the ratio by shape. `suspect`: a reading is among them that is to be taken again.
    """

    ratio: float
    low: float
    high: float
    reeds: tuple[tuple[str, float], ...]
    suspect: bool


@dataclass(frozen=True, slots=True)
class _Lay:
    """One measurement: "before" or "after", the mean of its rails, its tip and the tip's u."""

    name: str
    read: ReadSet
    mean: RailAnalysis
    tip: Tip


@lru_cache(maxsize=256)  # a piece's page asks again for every visit
def compare_efforts(before: ReadSet, after: ReadSet, kind: str = "other") -> EffortRatio:
    """Return how hard `after` closes beside `before`, for the reeds of a kind of instrument.

    Like is held beside like: both lays by the simplest curve that neither refuses, as the place of
    the break hangs on the curve; without one, both by the line through their readings. The limits
    go over all curves of up to three parameters that neither refuses, as those of the break do;
    the shapes of reed are limits of a rectangle. What the readings share is theirs together, as
    in a comparison: the laying of the glass, and what the same gauge does both times cancels.
    Raises MalformedReading without a tip opening or two blades, or for a lay that does not open.
    """
    lays = [_take_lay(*side) for side in (("before", before), ("after", after))]
    open_to = [
        {fit.curve for fit in lay.mean.fits if not fit.refused and len(fit.parameters) < 4}
        for lay in lays
    ]
    curves = [key for key in CURVES if key in open_to[0] & open_to[1]]
    tip_in = all(lay.mean.tip_in_fit for lay in lays)
    changes: dict[Key, float] = {}
    shaped: list[dict[str, float]] = []
    others: list[list[float]] = []
    for lay, sign in zip(lays, (-1.0, 1.0), strict=True):
        drawn, moved = _lay_out(lay, curves, tip_in=tip_in)
        efforts = {shape: find_effort(drawn[0], kind, shape) for shape in SHAPES}
        for cause, line in moved.items():
            change = sign * log(find_effort(line, kind) / efforts[USUAL])
            changes[cause] = changes.get(cause, 0.0) + change
        changes["unread", lay.name] = _weigh_unread(drawn[0], lay.mean.stops, kind, efforts)
        shaped.append(efforts)
        others.append([find_effort(line, kind) for line in drawn[1:]])
    reeds = {shape: log(shaped[1][shape] / shaped[0][shape]) for shape in SHAPES}
    by_curve = [log(b / a) for a, b in zip(*others, strict=True)]
    suspect = any(suspects_of(side.facing, side.uncertainties) for side in (before, after))
    return limit_ratio(reeds, by_curve, hypot(*changes.values()), suspect=suspect)


def limit_ratio(
    reeds: Mapping[str, float], curves: Sequence[float], u: float, *, suspect: bool = False
) -> EffortRatio:
    """Return a ratio with its limits, from its logarithm by shape of reed and by other curves.

    `u` is its standard uncertainty from the readings.
    """
    usual = reeds[USUAL]
    low, high = (
        far([usual, *curves]) + sign * K_95 * hypot(u, (far(reeds.values()) - usual) / sqrt(3.0))
        for far, sign in ((min, -1.0), (max, 1.0))
    )
    shown = tuple((shape, exp(change)) for shape, change in reeds.items())
    return EffortRatio(exp(usual), exp(low), exp(high), shown, suspect)


def _take_lay(name: str, side: ReadSet) -> _Lay:
    opening = side.facing.tip_opening_mm
    if opening is None:
        raise MalformedReading(
            f"{name}.tip_opening_mm", "How hard a reed closes needs the tip opening."
        )
    mean = analyse_facing(side.facing, side.uncertainties, only_mean=True).mean
    if mean is None or len(mean.stops) < 2:
        raise MalformedReading(
            f"{name}.left", "How hard a reed closes needs two blades or more, felt on both rails."
        )
    return _Lay(name, side, mean, (opening, side.facing.tip_u_mm or side.uncertainties.tip_mm))


def _lay_out(
    lay: _Lay, curves: Sequence[str], *, tip_in: bool
) -> tuple[list[RailLine], dict[Key, RailLine]]:
    """Lay out the readings by each curve, and by the first with each cause of error in turn."""
    furthest = max(stop.position_mm for stop in lay.mean.stops)
    stations = np.linspace(0.0, 2.0 * furthest + 5.0, STATIONS)
    uncertainties = lay.read.uncertainties

    def draw(stops: Sequence[BladeStop], tip: Tip, key: str | None) -> RailLine:
        fit = None
        if key is not None:
            readings = lay_out(stops, tip if tip_in else None, uncertainties)
            fit = fit_curves(readings, [key])[key]
        drawn = fit if isinstance(fit, CurveFit) else None
        return line_of_readings(stops, tip, drawn, uncertainties, stations)

    keys: Sequence[str | None] = curves or [None]
    try:
        by_curve = [draw(lay.mean.stops, lay.tip, key) for key in keys]
        moved = {cause: draw(*read, keys[0]) for cause, read in _vary_readings(lay).items()}
    except ValueError as error:
        raise MalformedReading(f"{lay.name}.left", f"The lay {lay.name}: {error}") from error
    return by_curve, moved


def _vary_readings(lay: _Lay) -> dict[Key, tuple[tuple[BladeStop, ...], Tip]]:
    """Return the readings with one cause of error after another (k = 1), by the cause's name.

    A cause that both lays share has the same name in both.
    """
    stops, (tip_mm, tip_u) = lay.mean.stops, lay.tip
    figures = list_figures(lay.read, lay.name)
    varied: dict[Key, tuple[tuple[BladeStop, ...], Tip]] = {}
    moves: dict[Key, dict[int, float]] = {}  # in mm, by the stop's place; -1 is the tip
    for i, stop in enumerate(stops):
        if stop.dial:
            moves["own", i, lay.name] = {i: stop.position_u_mm or 0.0}
            deeper = replace(stop, gap_mm=stop.gap_mm + (stop.gap_u_mm or 0.0))
            varied["gap", i, lay.name] = (*stops[:i], deeper, *stops[i + 1 :]), lay.tip
            continue
        _add_moves(moves, i, lay.name, [figures["blade", r, blade_key(stop.gap_mm)] for r in RAILS])
    tips = [figure for figure in figures.values() if figure.reading.quantity == "tip"]
    _add_moves(moves, -1, lay.name, tips)
    for cause, by in moves.items():
        further = [
            replace(stop, position_mm=stop.position_mm + by[i]) if i in by else stop
            for i, stop in enumerate(stops)
        ]
        varied[cause] = tuple(further), (tip_mm + by.get(-1, 0.0), tip_u)
    return varied


def _add_moves(
    moves: dict[Key, dict[int, float]], at: int, side: str, figures: Sequence[Figure]
) -> None:
    """Add by how much each cause moves the mean of these figures."""
    moves["own", at, side] = {at: hypot(*(figure.own_u for figure in figures)) / len(figures)}
    for figure in figures:
        for source, by in figure.shared.items():
            if by:
                of = moves.setdefault(source, {})
                of[at] = of.get(at, 0.0) + by / len(figures)


def _weigh_unread(
    line: RailLine, stops: Sequence[BladeStop], kind: str, efforts: Mapping[str, float]
) -> float:
    """Return the standard uncertainty of ln(effort) from the part before the thickest blade.

    Nothing was read there: it may run straight, which meets no reed, or bend as much again as it
    does, which may; the limits of a rectangle.
    """
    end = min(stop.position_mm for stop in stops)
    tip, middle, blade = np.interp([0.0, end / 2.0, end], line.stations_mm, line.gap_mm)
    share = np.clip(line.stations_mm / max(end, 1e-9), 0.0, 1.0)
    sag = max((tip + blade) / 2.0 - middle, 0.0) * 4.0 * share * (1.0 - share)
    bent = replace(line, gap_mm=np.maximum(line.gap_mm - sag, np.minimum(line.gap_mm, blade)))
    most = max(log(find_effort(bent, kind, shape) / effort) for shape, effort in efforts.items())
    return most / sqrt(3.0)
