"""Fits plain curves to the readings of one rail by weighted least squares.

A blade is read in position at a known gap: its residual is the position read minus the curve's,
its variance `u(position)² + (ds/dh · u(gap))²`. The tip opening is one more reading: its position
is 0 exactly, its residual is the gap read minus the curve's there. Weights follow the slope of the
curve from step to step and are not differentiated, so at the end each fit is the least-squares fit
for the weights of its own curve. Uncertainties come from the inverse of the normal matrix, for
weights that are known: they are not scaled by χ².

Near the break every curve is u ≈ q·√h, so a straight line of √h against s starts the plain ones.
Joined curves may have more than one hollow: √h is bent as a grid of joins would have it, and the
best line of each third of the facing is followed.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import inf, isfinite
from operator import mul

import numpy as np
from scipy import special

from app.core.facing.curves import CURVES, Curve
from app.core.facing.families import CONIC, EASING, JOINED, Array, straighten_joined
from app.core.facing.fits import CurveFit
from app.core.values.readings import BladeStop, Uncertainties

SHORTEST_MM = 1e-3  # no facing has its break nearer the tip than this
NO_SLOPE = 1e-9  # mm per √mm: all blades stop at one place
STEPS = 40
PATIENCE = 6  # steps before a start that promises too little is left
# lengths of a step in χ² units; 1e-9 is 3e-5 of a standard uncertainty, and it is still taken
NEAR, SETTLED = 0.1, 1e-9
FIRST_DAMPING, LEAST_DAMPING, HOPELESS_DAMPING = 1e-4, 1e-9, 1e7

# Variances inflated this much by other parameters leave a parameter undetermined; the ridge
# keeps a singular matrix invertible and is too small to be seen in others.
INFLATED = 1e9
RIDGES = {k: 1e-13 * np.eye(k) for k in (2, 3, 4)}

# joins to start from, between the smallest and the largest √h, and how the second arc bends
# there, by the number of the curve's parameters
_ALONG = np.linspace(0.08, 0.9, 9)
_BENDS = np.array([0.1, 0.3, 0.55, 0.8, 1.25, 1.8, 2.7, 4.5, 8.0])
JOINS = {3: (_ALONG, np.zeros(9)), 4: (np.repeat(_ALONG, 9), np.tile(_BENDS, 9))}

TOO_FEW, UNREAL, UNDETERMINED = "too few", "unreal", "undetermined"

Tip = tuple[float, float]  # the opening and its standard uncertainty, mm
Row = tuple[float, ...]  # a residual's derivatives by the parameters and, last, the residual
Model = tuple[list[Row], list[float]]  # and the weights of the rows
Evaluate = Callable[[Sequence[float]], Model | None]  # None where the model does not go
Gram = list[list[float]]  # the products of all columns of the rows, weighed


@dataclass(frozen=True, slots=True)
class Readings:
    """What a fit weighs: each blade's gap, position and their standard uncertainties, in mm.

    `tip` is None where it does not belong to the fit. There must be a blade.
    """

    stops: tuple[tuple[float, float, float, float], ...]
    tip: Tip | None

    @property
    def count(self) -> int:
        """How many readings there are."""
        return len(self.stops) + (self.tip is not None)


def lay_out(stops: Sequence[BladeStop], tip: Tip | None, uncertainties: Uncertainties) -> Readings:
    """Lay out the readings of a rail; `uncertainties` hold for stops that bring none."""
    rows = []
    for stop in stops:
        gap_u, position_u = stop.gap_u_mm, stop.position_u_mm
        gap_u = uncertainties.gap_mm if gap_u is None else gap_u
        position_u = uncertainties.position_mm if position_u is None else position_u
        rows.append((stop.gap_mm, stop.position_mm, gap_u, position_u))
    return Readings(tuple(rows), tip)


def fit_curves(readings: Readings, keys: Sequence[str]) -> dict[str, CurveFit | str]:
    """Fit each curve to one rail; gives by curve its fit, or TOO_FEW, UNREAL or UNDETERMINED."""
    with np.errstate(all="ignore"):
        line = _Line.through(readings)
        return {key: _fit_curve(CURVES[key], readings, line) for key in keys}


def _fit_curve(curve: Curve, readings: Readings, line: "_Line") -> CurveFit | str:
    if readings.count < curve.free:
        return TOO_FEW
    if not line.q > NO_SLOPE:
        return UNREAL
    evaluate, best, least = model_of(curve, readings), None, inf
    if curve.family is JOINED:
        # a join must better χ² by as much as its parameters would on average if they meant nothing
        least = line.chi_square - (curve.free - 2)
    for start in line.starts(curve, least):
        minimum = minimise(evaluate, start, least)
        if minimum is not None and minimum[1] < least and _is_real(curve, minimum[0]):
            best, least = minimum
    model = None if best is None else evaluate(best)
    return UNREAL if best is None or model is None else _describe(curve, readings, best, model)


def _is_real(curve: Curve, internal: Sequence[float]) -> bool:
    """Whether the curve is one of its kind and rises all the way to the tip."""
    b, shape = internal[0], (*internal[1:], *curve.fixed)
    return curve.holds(b, shape) and isfinite(curve.family.gap(shape, b))


def minimise(
    evaluate: Evaluate, start: Sequence[float], least: float = inf
) -> tuple[list[float], float] | None:
    """Step to the least Σ weight · residual² (Levenberg–Marquardt; Marquardt 1963).

    Gives the parameters and the sum, or None where it does not settle or won't come below `least`.
    """
    here, damping, stretch = list(start), FIRST_DAMPING, 1.0
    model, last = evaluate(here), None
    for number in range(STEPS):
        if model is None:
            break
        gram = find_gram(model)
        step, length = _find_step(gram, damping)
        squares, near = gram[-1][-1], length < NEAR
        if number >= PATIENCE and squares - length > least:
            break
        stretch = _relax(stretch, step, last) if last and near else 1.0
        there = [p - stretch * s for p, s in zip(here, step, strict=True)]
        if length < SETTLED and damping < 1.0:
            return there, squares
        new, fall = evaluate(there), -inf
        if new is not None:
            fall = squares - sum(w * row[-1] ** 2 for row, w in zip(new[0], model[1], strict=True))
        # near the end the weights change the sum as much as the step does
        if new is not None and (near or fall > 0.0):
            here, model, last = there, new, step
            if fall > 0.75 * length:
                damping = max(damping * 0.1, LEAST_DAMPING)
            elif fall < 0.25 * length and not near:
                damping *= 3.0
        else:
            last, damping = None, max(damping * 5.0, 1e-3)
            if not damping < HOPELESS_DAMPING:
                break
    return None


def _relax(stretch: float, step: Sequence[float], last: Sequence[float]) -> float:
    """Say how to stretch a step, by how it differs from the last, which was stretched too.

    Weights that follow the fit make plain steps come in only linearly, or swing about the end
    (Irons and Tuck 1969).
    """
    turn = [s - t for s, t in zip(step, last, strict=True)]
    stretch *= -sum(map(mul, turn, last)) / (sum(map(mul, turn, turn)) or inf)
    return min(max(stretch, 0.1), 3.0) if stretch > 0.0 else 1.0


def find_gram(model: Model) -> Gram:
    """The normal matrix, bordered by the gradient and, last, Σ weight · residual²."""
    rows, weights = np.array(model[0]), np.array(model[1])
    gram: Gram = ((rows.T * weights) @ rows).tolist()
    return gram


def _find_step(gram: Gram, damping: float) -> tuple[list[float], float]:
    """Solve the damped normal equations; give the step to take away, and its length in χ².

    By elimination in plain Python: at four unknowns, a library's call costs more than the sums.
    """
    lines, k = [[*line] for line in gram[:-1]], len(gram) - 1
    for i, line in enumerate(lines):
        line[i] *= 1.0 + damping
    for i, line in enumerate(lines):
        line[i] = line[i] or inf  # what nothing hangs on stays where it is
        for r in range(i + 1, k):
            lower, share = lines[r], line[r] / line[i]
            for j in range(r, k + 1):
                lower[j] -= share * line[j]
    step = [0.0] * k
    for i in reversed(range(k)):
        line = lines[i]
        for j in range(i + 1, k):
            line[k] -= line[j] * step[j]
        step[i] = line[k] / line[i]
    return step, sum(map(mul, step, gram[-1]))


def model_of(curve: Curve, readings: Readings) -> Evaluate:
    """The model of a curve by its free internal parameters, b first."""
    family, slopes = curve.family, curve.free - 1

    def evaluate(internal: Sequence[float]) -> Model | None:
        b, shape = internal[0], (*internal[1:], *curve.fixed)
        if not (b > SHORTEST_MM and family.holds(shape)):
            return None
        rows: list[Row] = []
        weights = []
        try:
            for gap, position, gap_u, position_u in readings.stops:
                u, ds_dh, by_shape = family.reach(shape, gap)
                if not ds_dh > 0.0:
                    return None
                carried_u = ds_dh * gap_u
                rows.append((-1.0, *by_shape[:slopes], position - (b - u)))
                weights.append(1.0 / (position_u * position_u + carried_u * carried_u))
            if readings.tip is not None:
                opening, opening_u = readings.tip
                gap = float(family.gap(shape, b))
                _, ds_dh, by_shape = family.reach(shape, gap)
                by_internal = [each / ds_dh for each in (-1.0, *by_shape[:slopes])]
                rows.append((*by_internal, opening - gap))
                weights.append(1.0 / (opening_u * opening_u))
        except (ArithmeticError, ValueError):  # the curve never opens so far
            return None
        return rows, weights

    return evaluate


def _describe(
    curve: Curve, readings: Readings, internal: Sequence[float], model: Model
) -> CurveFit | str:
    """Judge a fit and say it in the parameters people know."""
    b, shape, free = internal[0], (*internal[1:], *curve.fixed), curve.free
    gram, (rows, weights) = find_gram(model), model
    covariance = find_covariance(gram)
    if covariance is None:
        return UNDETERMINED
    stops, reach = readings.stops, curve.family.reach
    first = min(range(len(stops)), key=lambda i: stops[i][0])
    tip_opening = float(curve.family.gap(shape, b))
    _, ds_dh, by_shape = reach(shape, tip_opening)
    values, by_internal = curve.report(internal)
    at_tip = (-1.0, *by_shape[: free - 1])
    jacobian = np.array([*by_internal, at_tip, rows[first][:-1]])
    reported = jacobian @ covariance @ jacobian.T
    *us, tip_u, facing_u = np.sqrt(reported.diagonal()).tolist()
    if curve.family is JOINED and not us[-1] < b:
        return UNDETERMINED  # a join that may lie anywhere on the facing is none
    dof, chi_square = readings.count - free, gram[-1][-1]
    return CurveFit(
        curve=curve.key,
        parameters=dict(zip(curve.parameter_names, values, strict=True)),
        uncertainties=dict(zip(curve.parameter_names, us, strict=True)),
        covariance=tuple(map(tuple, reported[:free, :free].tolist())),
        chi_square=chi_square,
        dof=dof,
        p=float(special.chdtrc(dof, chi_square)) if dof > 0 else None,
        residuals=tuple([row[-1] for row in rows]),
        tip_opening_mm=tip_opening,
        tip_opening_u_mm=tip_u / ds_dh,
        facing_length_mm=stops[first][1] - rows[first][-1],
        facing_length_u_mm=facing_u,
        residual_u=tuple([weight**-0.5 for weight in weights]),
        reach_per_gap=tuple([reach(shape, stop[0])[1] for stop in stops]),
    )


def find_covariance(gram: Gram) -> Array | None:
    """The covariance; None where the readings leave a parameter undetermined."""
    normal = np.array([line[:-1] for line in gram[:-1]])
    scale = np.sqrt(normal.diagonal())
    if not scale.min() > 0.0:
        return None
    scales = scale * scale[:, None]
    inverse = np.linalg.inv(normal / scales + RIDGES[len(scale)])
    if not all(0.0 < each < INFLATED for each in inverse.diagonal().tolist()):
        return None
    return np.asarray(inverse / scales)


@dataclass(frozen=True, slots=True, eq=False)
class _Line:
    """The straight line s = b − q·√h through the readings, where all fits begin, and its χ²."""

    root: Array
    position: Array
    weight: Array
    b: float
    q: float
    chi_square: float

    @classmethod
    def through(cls, readings: Readings) -> "_Line":
        tip = () if readings.tip is None else ((readings.tip[0], 0.0, readings.tip[1], 0.0),)
        gap, position, gap_u, position_u = np.array((*readings.stops, *tip)).T
        root = np.sqrt(gap)
        slope = 0.5 * (position.max() - position.min()) / ((root.max() - root.min()) * root)
        weight = 1.0 / (position_u**2 + (slope * gap_u) ** 2)
        b, q, chi_square = _fit_lines(root[None], position, weight)
        return cls(root, position, weight, float(b[0]), float(q[0]), float(chi_square[0]))

    def starts(self, curve: Curve, least: float) -> list[list[float]]:
        """Free internal parameters to begin with; none where χ² can't come below `least`."""
        if curve.family is CONIC:
            return [[self.b, self.q, 0.0][: curve.free]]
        if curve.family is EASING:
            return [[self.b, 1.0 / self.q**2, 0.0]]
        if not least > 0.0:
            return []
        along, bend = JOINS[curve.free]
        low, high = self.root.min(), self.root.max()
        w = low + along * (high - low)
        straight = straighten_joined(self.root, w[:, None], bend[:, None])
        b, q, chi_square = _fit_lines(straight, self.position, self.weight)
        thirds = chi_square.reshape(3, -1)
        best = thirds.argmin(axis=1) + np.arange(3) * thirds.shape[1]
        worth = best[chi_square[best] < 0.5 * (self.chi_square + least)]
        starts: list[list[float]] = np.array([b, q, w, bend])[: curve.free, worth].T.tolist()
        return starts


def _fit_lines(root: Array, position: Array, weight: Array) -> tuple[Array, Array, Array]:
    """Fit s = b − q·root, (lines, n), by weights; give b, q and χ² of each."""
    total = weight.sum()
    share = weight / total
    mean_root, mean_position = root @ share, share @ position
    away, off = root - mean_root[:, None], position - mean_position
    across = (away * off) @ share
    q = -across / ((away * away) @ share)
    return mean_position + q * mean_root, q, total * (share @ (off * off) + across * q)
