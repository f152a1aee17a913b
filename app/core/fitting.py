"""Fits many plain curves to many sets of readings at once, by weighted least squares.

The residual is taken in what was read. A blade is read in position: its variance is
`u(position)² + (ds/dh · u(gap))²`, the slope taken on the fitted curve. The tip opening is read
in the gap: its residual is the gap read minus the curve's gap at s = 0.

Every curve of every set is one row; all rows take a Levenberg–Marquardt step together
(Marquardt 1963) with analytic derivatives. The weights follow the slope from step to step and
are not differentiated, so at the end the fit is the weighted least-squares fit for the weights
of its own curve. Uncertainties come from the inverse of the normal matrix, for weights that
are known: they are not scaled by χ² (JCGM 100 has no such scaling either).

Arrays are laid out (readings, rows): long in the direction that grows.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from app.core.curves import CURVES, FAMILIES, Array, Curve, Family, Flags, find_curve

STEPS = 60
SETTLED = 1e-14  # a step this long in χ² units is 1e-7 standard uncertainties
NEARLY_SETTLED = 1e-8
DETERMINED = 1e-9  # least eigenvalue of the scaled normal matrix that still says something

FITTED, TOO_FEW, UNREAL, UNDETERMINED = 0, 1, 2, 3


@dataclass(frozen=True, slots=True)
class ReadingArrays:
    """Readings of N sets as arrays: blades (n, N), the tip (N,). Lengths in mm.

    `present` is 1 where there is a reading and 0 in the padding, whose gap must still be a
    positive number. `tip_in` is 1 where the tip belongs to the fit. Uncertainties are standard.
    """

    gap: Array
    position: Array
    gap_u: Array
    position_u: Array
    present: Array
    tip: Array
    tip_u: Array
    tip_in: Array

    def take(self, rows: np.ndarray) -> "ReadingArrays":
        """Give the sets with these numbers, repeated as often as asked."""
        return ReadingArrays(
            self.gap[:, rows], self.position[:, rows], self.gap_u[:, rows],
            self.position_u[:, rows], self.present[:, rows],
            self.tip[rows], self.tip_u[rows], self.tip_in[rows],
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class CurveFits:
    """One curve fitted to N sets. `status` is FITTED where the numbers mean something.

    `inner`, `inner_covariance` (4, N) and (4, 4, N) are in the curve's inner parameters;
    `residuals` and `residual_u` (n + 1, N) are in mm, the tip last.
    """

    curve: Curve
    status: np.ndarray
    inner: Array
    inner_covariance: Array
    chi_square: Array
    dof: np.ndarray
    p: Array
    residuals: Array
    residual_u: Array
    tip_opening: Array
    tip_gradient: Array
    facing_length: Array
    facing_gradient: Array


@dataclass(slots=True)
class _State:
    """What is known of every row at its present parameters."""

    inner: Array
    opening: Array
    slope: Array
    residual: Array
    jacobian: Array
    variance: Array
    good: Flags


def _evaluate(
    inner: Array, readings: ReadingArrays, largest_gap: Array, spans: list[tuple[Family, slice]]
) -> _State:
    n, rows = readings.gap.shape
    gap = np.empty((n + 1, rows))
    gap[:n] = readings.gap
    reach, slope = np.empty_like(gap), np.empty_like(gap)
    jacobian = np.empty((4, n + 1, rows))
    good = np.empty(rows, dtype=bool)
    for family, span in spans:
        part = inner[:, span]
        gap[n, span] = family.gap(part, part[0])
        reach[:, span], slope[:, span], jacobian[1:, :, span] = family.reach(part, gap[:, span])
        good[span] = family.allowed(part, largest_gap[span])
    np.negative(jacobian[1:], out=jacobian[1:])
    jacobian[0] = 1.0
    jacobian[:, n] /= slope[n]
    residual = np.empty_like(gap)
    residual[:n] = readings.position - inner[0] + reach[:n]
    residual[n] = readings.tip - gap[n]
    variance = np.empty_like(gap)
    variance[:n] = readings.position_u**2 + (slope[:n] * readings.gap_u) ** 2
    variance[n] = readings.tip_u**2
    good &= np.isfinite(residual).all(axis=0) & np.isfinite(variance).all(axis=0)
    good &= np.isfinite(jacobian).all(axis=(0, 1))
    return _State(inner, gap[n], slope, residual, jacobian, variance, good)


def _line(root: Array, readings: ReadingArrays, weight: Array) -> tuple[Array, Array, Array]:
    """Fit s = b − q·root by weights (readings, …); give b, q and χ²."""
    s = np.concatenate([readings.position, np.zeros_like(readings.position[:1])])
    s = s.reshape(s.shape[0], *([1] * (root.ndim - 2)), s.shape[-1])
    total = weight.sum(axis=0)
    mean_root = (weight * root).sum(axis=0) / total
    mean_s = (weight * s).sum(axis=0) / total
    away = root - mean_root
    q = -(weight * away * (s - mean_s)).sum(axis=0) / (weight * away**2).sum(axis=0)
    b = mean_s + q * mean_root
    return b, q, (weight * (s - b + q * root) ** 2).sum(axis=0)


def _first_guess(curve: Curve, readings: ReadingArrays) -> Array:
    """Start from the straight line of √h against s, for joined curves the best bent one."""
    n, sets = readings.gap.shape
    gap = np.concatenate([readings.gap, readings.tip[None]])
    present = np.concatenate([readings.present, readings.tip_in[None]])
    gap = np.where(present > 0, gap, 1.0)
    root = np.sqrt(gap)
    spread = np.concatenate([readings.position_u, np.zeros((1, sets))])
    gap_u = np.concatenate([readings.gap_u, readings.tip_u[None]])
    weight = present / np.concatenate([readings.position_u**2, np.ones((1, sets))])
    weight[n] = present[n] * weight[:n].max(axis=0, initial=0.0)
    _, q, _ = _line(root, readings, weight)
    weight = present / (spread**2 + (0.5 * q / root * gap_u) ** 2)
    b, q, _ = _line(root, readings, weight)
    inner = np.empty((4, sets))
    inner[0], inner[1], inner[2], inner[3] = b, q, *curve.shape
    if curve.family is CURVES["straight_tip"].family:
        low = np.where(present > 0, root, np.inf).min(axis=0)
        high = np.where(present > 0, root, 0.0).max(axis=0)
        bends = (0.0,) if curve.key == "straight_tip" else (0.15, 0.5, 2.0, 5.0)
        part = np.array([(f, k) for f in (0.15, 0.3, 0.45, 0.6, 0.75, 0.9) for k in bends])
        w = low + part[:, :1] * (high - low)
        bend = np.broadcast_to(part[:, 1:], w.shape)
        rise = np.maximum(gap[:, None] - w**2, 0.0)
        bent = np.minimum(root[:, None], w) + rise / (w + np.sqrt(w**2 + bend * rise))
        b, q, misfit = _line(bent, readings, np.repeat(weight[:, None], len(part), axis=1))
        best = np.nan_to_num(misfit, nan=np.inf).argmin(axis=0), np.arange(sets)
        inner[0], inner[1], inner[2], inner[3] = b[best], q[best], w[best], bend[best]
    return inner


def _step(state: _State, weight: Array, free: Array, damping: Array) -> tuple[Array, Array]:
    """Give one damped step (4, rows) and its length in χ² units."""
    jacobian = state.jacobian * free[:, None]
    weighted = jacobian * weight
    normal = np.einsum("jnr,knr->rjk", weighted, jacobian)
    gradient = np.einsum("jnr,nr->rj", weighted, state.residual)
    scale = np.sqrt(np.einsum("rjj->rj", normal))
    scale[scale == 0.0] = 1.0
    normal /= scale[:, :, None] * scale[:, None, :]
    index = np.arange(4)
    normal[:, index, index] = 1.0 + damping[:, None]
    move = np.linalg.solve(normal, (gradient / scale)[:, :, None])[:, :, 0]
    length = np.einsum("rj,rj->r", move, gradient / scale)
    return (move / scale).T, length


def _descend(
    state: _State,
    readings: ReadingArrays,
    largest_gap: Array,
    spans: list[tuple[Family, slice]],
    free: Array,
) -> tuple[_State, Flags]:
    rows = state.inner.shape[1]
    present = np.concatenate([readings.present, readings.tip_in[None]])
    damping = np.full(rows, 1e-4)
    settled = ~state.good
    nearly = np.zeros(rows, dtype=bool)
    for _ in range(STEPS):
        weight = present / state.variance
        weight[:, settled] = 0.0
        move, length = _step(state, weight, free, damping)
        quiet = (length < SETTLED * (1.0 + damping)) & (damping < 1.0)
        nearly = (length < NEARLY_SETTLED) & (damping < 1.0)
        settled = settled | quiet
        if settled.all():
            break
        new = _evaluate(
            np.where(settled, state.inner, state.inner + move), readings, largest_gap, spans
        )
        before = (weight * state.residual**2).sum(axis=0)
        after = (weight * new.residual**2).sum(axis=0)
        better = new.good & (after <= before * (1.0 + 1e-12) + 1e-20) & ~settled
        damping = np.where(better, np.maximum(damping * 0.1, 1e-9), damping * 10.0)
        for name in ("inner", "opening", "slope", "residual", "jacobian", "variance"):
            setattr(state, name, np.where(better, getattr(new, name), getattr(state, name)))
    return state, state.good & (settled | nearly)


def fit_curves(readings: ReadingArrays, keys: Sequence[str]) -> dict[str, CurveFits]:
    """Fit each curve to each set; give the fits by key, in the order asked.

    Raises ValueError for an unknown curve. Sets a curve cannot be fitted to are marked in
    `status`, never dropped.
    """
    curves = [find_curve(key) for key in keys]
    ordered = [curve for family in FAMILIES for curve in curves if curve.family is family]
    sets = readings.gap.shape[1]
    with np.errstate(all="ignore"):
        spans, at = [], 0
        for family in FAMILIES:
            count = sum(curve.family is family for curve in ordered) * sets
            if count:
                spans.append((family, slice(at, at + count)))
            at += count
        free = np.zeros((4, at))
        for i, curve in enumerate(ordered):
            free[: curve.free, i * sets : (i + 1) * sets] = 1.0
        inner = np.concatenate([_first_guess(curve, readings) for curve in ordered], axis=1)
        rows = readings.take(np.tile(np.arange(sets), len(ordered)))
        largest_gap = (rows.gap * rows.present).max(axis=0, initial=0.0)
        state = _evaluate(inner, rows, largest_gap, spans)
        state, converged = _descend(state, rows, largest_gap, spans, free)
        found = {
            curve.key: _finish(curve, readings, state, converged, slice(i * sets, (i + 1) * sets))
            for i, curve in enumerate(ordered)
        }
    return {key: found[key] for key in keys}


def _finish(
    curve: Curve, readings: ReadingArrays, state: _State, converged: Flags, span: slice
) -> CurveFits:
    """Take one curve's rows, judge what they are worth and add what follows from them."""
    n, sets = readings.gap.shape
    free = curve.free
    inner = state.inner[:, span]
    present = np.concatenate([readings.present, readings.tip_in[None]])
    variance, residuals = state.variance[:, span], state.residual[:, span]
    jacobian = state.jacobian[:free, :, span]
    weight = present / variance
    normal = np.einsum("jnr,knr->rjk", jacobian * weight, jacobian)
    scale = np.sqrt(np.einsum("rjj->rj", normal))
    usable = converged[span] & (scale > 0).all(axis=1) & np.isfinite(normal).all(axis=(1, 2))
    normal[~usable] = np.eye(free)
    scale[~usable] = 1.0
    normal /= scale[:, :, None] * scale[:, None, :]
    determined = np.linalg.eigvalsh(normal)[:, 0] > DETERMINED
    normal[~determined] = np.eye(free)
    covariance = np.zeros((4, 4, sets))
    covariance[:free, :free] = np.moveaxis(
        np.linalg.inv(normal) / (scale[:, :, None] * scale[:, None, :]), 0, -1
    )
    count = present.sum(axis=0).astype(int)
    dof = count - free
    status = np.where(
        dof < 0, TOO_FEW,
        np.where(~converged[span] | ~curve.real(inner), UNREAL,
                 np.where(usable & determined, FITTED, UNDETERMINED)),
    )  # fmt: skip
    chi_square = (weight * residuals**2).sum(axis=0)
    thinnest = np.where(readings.present > 0, readings.gap, np.inf).argmin(axis=0)
    pick = (thinnest, np.arange(sets))
    full = np.zeros((4, n + 1, sets))
    full[:free] = jacobian
    return CurveFits(
        curve=curve, status=status, inner=inner, inner_covariance=covariance,
        chi_square=chi_square, dof=dof,
        p=np.where(dof > 0, special.chdtrc(np.maximum(dof, 1), chi_square), np.nan),
        residuals=residuals, residual_u=np.sqrt(variance),
        tip_opening=state.opening[span], tip_gradient=full[:, n],
        facing_length=readings.position[pick] - residuals[pick],
        facing_gradient=full[:, pick[0], pick[1]],
    )  # fmt: skip
