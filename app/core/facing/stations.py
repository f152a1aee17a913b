"""A rail as a line of stations: the gap, and how well it is known, every tenth of a millimetre.

A plan adds and subtracts gaps place by place, so everything it handles is brought to one row of
stations: a plain curve, readings, a rail after a cut. Readings become the curve they follow,
if they follow one, because a curve is held by all of them and no single reading's noise can
cost material; the tip, which is read by itself, keeps its reading. Readings that follow no
plain curve are joined by pieces that are straight in √h.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from app.core.facing.curves import find_curve
from app.core.facing.fits import CurveFit
from app.core.facing.profiles import free_curve
from app.core.values.readings import BladeStop, Uncertainties

Array = npt.NDArray[np.float64]

STEP_MM = 0.1


@dataclass(frozen=True, slots=True)
class RailLine:
    """One rail: gap and its standard uncertainty in mm at each station, from the tip on.

    `break_mm` is where the gap reaches zero. `curve` is the plain curve behind it, or None.
    """

    stations_mm: Array
    gap_mm: Array
    u_mm: Array
    break_mm: float
    curve: str | None

    def stop(self, blade_mm: float) -> float | None:
        """Tell where a blade slid in from the tip stops; None if it does not go in at all."""
        return stop_blade(self.stations_mm, self.gap_mm, blade_mm)


def make_stations(end_mm: float, places: Iterable[float]) -> Array:
    """Lay stations every 0.1 mm from the tip to `end_mm`, with these places among them."""
    grid = np.linspace(0.0, end_mm, max(2, round(end_mm / STEP_MM) + 1))
    inside = [place for place in places if 0.0 <= place <= end_mm]
    return np.unique(np.concatenate([grid, inside]))


def stop_blade(stations_mm: Array, gap_mm: Array, blade_mm: float) -> float | None:
    """Find the first place from the tip where the gap falls below the blade.

    Between stations √h is taken as straight. None if the blade is thicker than the opening.
    """
    low = np.flatnonzero(gap_mm < blade_mm)
    if low.size == 0:
        return float(stations_mm[-1])
    at = int(low[0])
    if at == 0:
        return None
    before, after, root = np.sqrt([gap_mm[at - 1], gap_mm[at], blade_mm])
    share = (before - root) / (before - after)
    return float(stations_mm[at - 1] + share * (stations_mm[at] - stations_mm[at - 1]))


def line_of_readings(
    stops: Sequence[BladeStop],
    tip: tuple[float, float] | None,
    fit: CurveFit | None,
    uncertainties: Uncertainties,
    stations_mm: Array,
) -> RailLine:
    """Lay out a rail as read: by its curve if `fit` is given, else piece by piece.

    `tip` is the opening and its standard uncertainty. Raises ValueError, in words, if the
    readings are too few or do not open toward the tip.
    """
    if fit is not None:
        line = _line_of_fit(fit, stations_mm)
        leaned = None if line is None else _lean_to_tip(line, stops, tip)
        if leaned is not None:
            return leaned
    return _line_through(stops, tip, uncertainties, stations_mm)


def _line_of_fit(fit: CurveFit, stations_mm: Array) -> RailLine | None:
    """Lay out a fitted curve with u² = gᵀVg; None where it does not reach the tip."""
    curve = find_curve(fit.curve)
    values = dict(fit.parameters)
    try:
        gap = curve.gap_at(values, stations_mm)
    except ValueError:
        return None
    gradients = []
    for name, u in fit.uncertainties.items():
        column = None
        for step in (1e-3 * u, -1e-3 * u):
            # a step may leave the curve's own range: then the other way serves
            try:
                moved = curve.gap_at({**values, name: values[name] + step}, stations_mm)
            except ValueError:
                continue
            column = (moved - gap) / step if step else np.zeros_like(gap)
            break
        if column is None:
            return None
        gradients.append(column)
    slopes = np.array(gradients)
    variance = np.einsum("is,ij,js->s", slopes, np.asarray(fit.covariance), slopes)
    u_mm = np.sqrt(np.maximum(variance, 0.0))
    return RailLine(stations_mm, gap, u_mm, values["break_mm"], fit.curve)


def _lean_to_tip(
    line: RailLine, stops: Sequence[BladeStop], tip: tuple[float, float] | None
) -> RailLine | None:
    """Bend the part before the thickest blade so that it ends at the tip opening as read.

    None if that would make the rail turn back before the tip.
    """
    nearest = min((stop.position_mm for stop in stops), default=0.0)
    if tip is None or nearest <= 0.0:
        return line
    share = np.clip(1.0 - line.stations_mm / nearest, 0.0, 1.0)
    gap = line.gap_mm + share * (tip[0] - line.gap_mm[0])
    if (np.diff(gap) > 1e-12).any() or (gap < 0.0).any():
        return None
    u = np.hypot((1.0 - share) * line.u_mm, share * tip[1])
    return replace(line, gap_mm=gap, u_mm=u)


def _line_through(
    stops: Sequence[BladeStop],
    tip: tuple[float, float] | None,
    uncertainties: Uncertainties,
    stations_mm: Array,
) -> RailLine:
    """Lay out readings by straight pieces of √h, straight on at both ends.

    The knots are those of the free curve, but straight pieces keep two rails in order wherever
    their readings are in order, so no cut is planned between blades that at the blades is none.
    On an arc of usual size they differ from it by less than a micrometre.
    """
    free = free_curve(stops, None if tip is None else tip[0])
    if free is None:
        raise ValueError("at least two readings are needed, such as a blade and the tip opening.")
    knots, roots = np.asarray(free.knots_mm), np.asarray(free.roots)
    if free.break_mm is None:
        fall = roots[0] - roots[-1]
        if fall <= 0.0:
            raise ValueError("the readings do not open toward the tip.")
        end = knots[-1] + roots[-1] * (knots[-1] - knots[0]) / fall
        knots, roots = np.append(knots, end), np.append(roots, 0.0)
    root = np.interp(stations_mm, knots, roots, right=0.0)
    ahead = stations_mm < knots[0]
    slope = (roots[0] - roots[1]) / (knots[1] - knots[0])
    root[ahead] = roots[0] + slope * (knots[0] - stations_mm[ahead])
    u = 2.0 * root * _root_uncertainty(stops, tip, uncertainties, stations_mm, root)
    return RailLine(stations_mm, root**2, u, float(knots[-1]), None)


def _root_uncertainty(
    stops: Sequence[BladeStop],
    tip: tuple[float, float] | None,
    uncertainties: Uncertainties,
    stations_mm: Array,
    root: Array,
) -> Array:
    """Carry each reading's uncertainty into √h and between readings: u² = (slope·u_s)² + u_√h²."""
    slope = np.abs(np.gradient(root, stations_mm))
    places, us = [], []
    for stop in stops:
        gap_u = uncertainties.gap_mm if stop.gap_u_mm is None else stop.gap_u_mm
        position_u = uncertainties.position_mm if stop.position_u_mm is None else stop.position_u_mm
        steep = float(np.interp(stop.position_mm, stations_mm, slope))
        places.append(stop.position_mm)
        us.append(np.hypot(steep * position_u, gap_u / (2.0 * np.sqrt(stop.gap_mm))))
    if tip is not None:
        places.append(0.0)
        us.append(tip[1] / (2.0 * np.sqrt(tip[0])))
    order = np.argsort(places)
    return np.asarray(np.interp(stations_mm, np.asarray(places)[order], np.asarray(us)[order]))
