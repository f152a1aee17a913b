"""Fits many plain curves to many sets of readings at once, by weighted least squares.

The residual is taken in what was read. A blade is read in position: its variance is
`u(position)² + (ds/dh · u(gap))²`, the slope taken on the fitted curve. The tip opening is read
in the gap: its residual is the gap read minus the curve's gap at s = 0.

Every curve of every set is one row; all rows take a Levenberg–Marquardt step together
(Marquardt 1963) with analytic derivatives and leave when they have settled. The weights follow
the slope from step to step and are not differentiated, so at the end each fit is the weighted
least-squares fit for the weights of its own curve. Uncertainties come from the inverse of the
normal matrix, for weights that are known: they are not scaled by χ².

Arrays are laid out (readings, rows): long in the direction that grows.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from app.core.curves import Curve, find_curve
from app.core.families import FAMILIES, JOINED, Array, Family, Flags

Numbers = npt.NDArray[np.intp]
Spans = list[tuple[Family, slice]]

STEPS = 24
# lengths of the next step in χ² units: 1e-14 is 1e-7 of a standard uncertainty
NEAR, NEARLY_SETTLED, SETTLED = 1e-2, 1e-8, 1e-14
FIRST_DAMPING, LEAST_DAMPING, HOPELESS_DAMPING = 1e-4, 1e-9, 1e7
DETERMINED = 1e-9  # least eigenvalue of the scaled normal matrix that still says something

FITTED, TOO_FEW, UNREAL, UNDETERMINED = 0, 1, 2, 3


@dataclass(frozen=True, slots=True)
class ReadingArrays:
    """Readings of N sets as arrays: blades (n, N), the tip (N,). Lengths in mm.

    `present` is 1 where there is a reading and 0 in the padding, whose gap must repeat one of
    the set's own. `tip_in` is 1 where the tip belongs to the fit. Uncertainties are standard.
    """

    gap: Array
    position: Array
    gap_u: Array
    position_u: Array
    present: Array
    tip: Array
    tip_u: Array
    tip_in: Array

    def take(self, sets: Numbers | Flags) -> "ReadingArrays":
        """Give the sets with these numbers, in this order, as often as they are named."""
        return ReadingArrays(
            self.gap[:, sets], self.position[:, sets], self.gap_u[:, sets],
            self.position_u[:, sets], self.present[:, sets],
            self.tip[sets], self.tip_u[sets], self.tip_in[sets],
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Fits:
    """C curves fitted to N sets. `status` (C, N) is FITTED where the numbers mean something.

    `values`, `u` (4, C, N) and `covariance` (4, 4, C, N) are in the parameters people know, the
    first `curve.free` of them. `residuals` are read minus fitted and `residual_u` what they were
    weighed with, (n + 1, C, N), the tip last. `reach_per_gap` (n, C, N) is how far a blade's stop
    moves per mm of its thickness. The rest is (C, N); `p` is nan without degrees of freedom.
    """

    curves: tuple[Curve, ...]
    status: npt.NDArray[np.int_]
    values: Array
    u: Array
    covariance: Array
    chi_square: Array
    dof: npt.NDArray[np.int_]
    p: Array
    residuals: Array
    residual_u: Array
    reach_per_gap: Array
    tip_opening: Array
    tip_opening_u: Array
    facing_length: Array
    facing_length_u: Array


@dataclass(frozen=True, slots=True)
class _Rows:
    """The readings of each row, prepared: variances instead of uncertainties, what is fitted.

    `present` (n + 1, rows) has the tip last. `free` (4, rows) is 1 for the parameters the row's
    curve has; `kinds` numbers its family.
    """

    gap: Array
    position: Array
    gap_u: Array
    position_u2: Array
    tip: Array
    tip_u2: Array
    present: Array
    largest_gap: Array
    free: Array
    kinds: Numbers

    def take(self, rows: Flags) -> "_Rows":
        """Give some of the rows."""
        return _Rows(
            self.gap[:, rows], self.position[:, rows], self.gap_u[:, rows],
            self.position_u2[:, rows], self.tip[rows], self.tip_u2[rows],
            self.present[:, rows], self.largest_gap[rows], self.free[:, rows], self.kinds[rows],
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class _State:
    """What is known of every row at its present parameters; `miss` is fitted minus read.

    `by` (4, readings, rows) is minus the derivative of a position by the parameters, and for
    the tip minus that of the gap.
    """

    inner: Array
    miss: Array
    by: Array
    variance: Array
    slope: Array
    good: Flags

    def take(self, rows: Flags) -> "_State":
        """Give some of the rows."""
        return _State(
            self.inner[:, rows], self.miss[:, rows], self.by[:, :, rows],
            self.variance[:, rows], self.slope[:, rows], self.good[rows],
        )  # fmt: skip

    def replace(self, other: "_State", rows: Flags) -> "_State":
        """Take these rows over from another state, in place."""
        np.copyto(self.inner, other.inner, where=rows)
        np.copyto(self.miss, other.miss, where=rows)
        np.copyto(self.by, other.by, where=rows)
        np.copyto(self.variance, other.variance, where=rows)
        np.copyto(self.slope, other.slope, where=rows)
        return self


def fit_curves(readings: ReadingArrays, keys: Sequence[str]) -> Fits:
    """Fit each curve to each set. Raises ValueError for an unknown curve.

    What a curve cannot be fitted to is marked in `status`, never dropped.
    """
    curves = [find_curve(key) for key in keys]
    sets = readings.gap.shape[1]
    tracks = [
        (c, curve, group)
        for family in FAMILIES
        for c, curve in enumerate(curves)
        if curve.family is family
        for group in curve.starts
    ]
    with np.errstate(all="ignore"):
        present = np.concatenate([readings.present, readings.tip_in[None]])
        start = _first_guess(readings, present, [(curve, group) for _, curve, group in tracks])
        times = len(tracks)
        counts = np.array([curve.free for _, curve, _ in tracks])
        rows = _Rows(
            gap=np.tile(readings.gap, times),
            position=np.tile(readings.position, times),
            gap_u=np.tile(readings.gap_u, times),
            position_u2=np.tile(readings.position_u**2, times),
            tip=np.tile(readings.tip, times),
            tip_u2=np.tile(readings.tip_u**2, times),
            present=np.tile(present, times),
            largest_gap=np.tile(
                np.max(readings.gap * readings.present, axis=0, initial=0.0), times
            ),
            free=np.repeat(np.arange(4)[:, None] < counts, sets, axis=1).astype(float),
            kinds=np.repeat([FAMILIES.index(curve.family) for _, curve, _ in tracks], sets),
        )
        inner, settled = _descend(start, rows, with_tip=bool(readings.tip_in.any()))
        state = _evaluate(inner, rows, with_tip=True)
        return _finish(curves, [c for c, _, _ in tracks], rows, state, settled)


def _spans(kinds: Numbers) -> Spans:
    """Find where each family's rows begin and end; rows stand in the families' order."""
    ends = np.searchsorted(kinds, np.arange(len(FAMILIES) + 1))
    return [
        (family, slice(start, stop))
        for family, start, stop in zip(FAMILIES, ends[:-1].tolist(), ends[1:].tolist(), strict=True)
        if stop > start
    ]


def _first_guess(
    readings: ReadingArrays,
    present: Array,
    tracks: Sequence[tuple[Curve, Sequence[tuple[float, float]]]],
) -> Array:
    """Start each row from the best straight line of its bent √h against s; (4, rows)."""
    n, sets = readings.gap.shape
    gap = np.where(present > 0, np.concatenate([readings.gap, readings.tip[None]]), 1.0)
    root = np.sqrt(gap)
    gap_u = np.concatenate([readings.gap_u, readings.tip_u[None]])
    position = np.concatenate([readings.position, np.zeros((1, sets))])
    position_u = np.concatenate([readings.position_u, np.zeros((1, sets))])
    plain = present / (position_u**2 + gap_u**2 / gap)
    _, q, _ = _fit_line(root, position, plain)
    weight = present / (position_u**2 + (0.5 * q * gap_u) ** 2 / gap)

    low = np.where(present > 0, root, np.inf).min(axis=0)
    high = np.where(present > 0, root, 0.0).max(axis=0)
    starts = [(curve.family, *start) for curve, group in tracks for start in group]
    first, second = np.empty((2, len(starts), sets))
    bent = np.empty((n + 1, len(starts), sets))
    for span, family in _runs([family for family, _, _ in starts]):
        told = np.array([start[1:] for start in starts[span]])[:, :, None]
        first[span], second[span] = family.begin(low, high, told[:, 0], told[:, 1])
        bent[:, span] = family.straighten(root[:, None], first[span], second[span])
    b, q, misfit = _fit_line(bent, position[:, None], weight[:, None])

    inner = np.empty((4, len(tracks), sets))
    misfit = np.nan_to_num(misfit, nan=np.inf)
    each, at = np.arange(sets), 0
    for t, (curve, group) in enumerate(tracks):
        best = at + misfit[at : at + len(group)].argmin(axis=0)
        at += len(group)
        inner[0, t] = b[best, each]
        inner[1:, t] = curve.family.settle(q[best, each], first[best, each], second[best, each])
    return inner.reshape(4, -1)


def _runs(families: Sequence[Family]) -> list[tuple[slice, Family]]:
    """Find runs of one family."""
    edges = [i for i in range(len(families)) if i == 0 or families[i] is not families[i - 1]]
    return [
        (slice(a, z), families[a]) for a, z in zip(edges, [*edges[1:], len(families)], strict=True)
    ]


def _fit_line(root: Array, position: Array, weight: Array) -> tuple[Array, Array, Array]:
    """Fit s = b − q·root by weights along the first axis; give b, q and χ²."""
    weight = weight / weight.sum(axis=0)
    mean_root = (weight * root).sum(axis=0)
    mean_s = (weight * position).sum(axis=0)
    away, off = root - mean_root, position - mean_s
    weighted = weight * away
    q = -(weighted * off).sum(axis=0) / (weighted * away).sum(axis=0)
    return mean_s + q * mean_root, q, (weight * (off + q * away) ** 2).sum(axis=0)


def _evaluate(inner: Array, rows: _Rows, *, with_tip: bool) -> _State:
    """Compare every row's curve with its readings, the tip too if asked."""
    n, count = rows.gap.shape
    gap = np.empty((n + with_tip, count))
    gap[:n] = rows.gap
    reach, slope = np.empty_like(gap), np.empty_like(gap)
    by = np.zeros((4, n + with_tip, count))
    by[0] = -1.0
    good = np.empty(count, dtype=bool)
    for family, span in _spans(rows.kinds):
        prepared = family.prepare(inner[:, span])
        if with_tip:
            gap[n, span] = family.gap(prepared, prepared[0])
        reach[:, span], slope[:, span] = family.reach(prepared, gap[:, span], by[1:, :, span])
        good[span] = family.allowed(prepared, rows.largest_gap[span])
    miss = inner[0] - reach
    miss[:n] -= rows.position
    variance = np.empty_like(gap)
    variance[:n] = (slope[:n] * rows.gap_u) ** 2
    variance[:n] += rows.position_u2
    if with_tip:
        miss[n] = gap[n] - rows.tip
        variance[n] = rows.tip_u2
        by[:, n] /= slope[n]
    good &= np.isfinite(np.add.reduce(miss) + np.add.reduce(variance))
    return _State(inner, miss, by, variance, slope, good)


def _descend(inner: Array, rows: _Rows, *, with_tip: bool) -> tuple[Array, Flags]:
    """Step every row to its least χ²; give its parameters and whether it got there."""
    result, settled = inner.copy(), np.zeros(inner.shape[1], dtype=bool)
    state = _evaluate(inner, rows, with_tip=with_tip)
    numbers = np.arange(inner.shape[1])
    damping = np.full(len(numbers), FIRST_DAMPING)
    last = inner, np.full_like(inner, np.nan)
    active = state.good & (rows.present.sum(axis=0) >= rows.free.sum(axis=0))
    for _ in range(STEPS):
        if 4 * np.count_nonzero(active) <= 3 * len(numbers):
            result[:, numbers] = state.inner
            if not active.any():
                return result, settled
            state, rows = state.take(active), rows.take(active)
            numbers, damping = numbers[active], damping[active]
            last = last[0][:, active], last[1][:, active]
            active = np.ones(len(numbers), dtype=bool)
        weight = rows.present[: len(state.miss)] / state.variance
        move, scale, length = _find_step(state, weight, rows.free, damping)
        gentle = damping < 1.0
        settled[numbers[active]] = (gentle & (length < NEARLY_SETTLED))[active]
        active &= ~(gentle & (length < SETTLED)) & (damping < HOPELESS_DAMPING)

        near = length < NEAR
        step = move
        if near.any():
            step = np.where(near, _extrapolate(state.inner, move, scale, last), move)
        step = _hold_back(state.inner, step) * active
        new = _evaluate(state.inner + step, rows, with_tip=with_tip)
        fall = np.einsum("nr,nr,nr->r", weight, state.miss, state.miss)
        fall -= np.einsum("nr,nr,nr->r", weight, new.miss, new.miss)
        # near the end the weights change χ² as much as the step does: allow a little rise
        better = new.good & ((fall > 0.0) | (near & (fall > -10.0 * length)))
        gain = fall / (length + damping * np.einsum("jr,jr->r", move * scale, move * scale))
        ease = np.where(near, 1.0, np.where(gain > 0.75, 0.1, np.where(gain < 0.25, 3.0, 1.0)))
        last = np.where(better, state.inner, last[0]), np.where(better, move, np.nan)
        damping = np.where(
            better, np.maximum(damping * ease, LEAST_DAMPING), np.maximum(damping * 5.0, 1e-3)
        )
        state = new if better.all() else state.replace(new, better)
    result[:, numbers] = state.inner
    return result, settled


def _find_step(
    state: _State, weight: Array, free: Array, damping: Array
) -> tuple[Array, Array, Array]:
    """Give one damped step (4, rows), the scale it was found in, its length in χ² units."""
    normal, scale, weighted = _normal(state.by, weight, free)
    gradient = np.einsum("jnr,nr->rj", weighted, state.miss) / scale
    np.einsum("rjj->rj", normal)[:] = 1.0 + damping[:, None]
    move = np.linalg.solve(normal, gradient[:, :, None])[:, :, 0]
    return (move / scale).T, scale.T, np.einsum("rj,rj->r", move, gradient)


def _extrapolate(inner: Array, move: Array, scale: Array, last: tuple[Array, Array]) -> Array:
    """Mend a step by what the last one taught (Anderson 1965, depth 1).

    Weights that follow the fit make plain steps converge only linearly; this takes the slowest
    part out.
    """
    turn = (move - last[1]) * scale
    share = np.einsum("jr,jr->r", move * scale, turn) / np.einsum("jr,jr->r", turn, turn)
    mended = move - share * (inner - last[0] + move - last[1])
    return np.where(np.isfinite(share), mended, move)


def _hold_back(inner: Array, step: Array) -> Array:
    """Shorten steps that would take a parameter that must stay positive to zero or below."""
    toward_zero = np.fmax(-step[1] / inner[1], -step[3] / inner[3])
    return np.asarray(step * np.minimum(1.0, 0.8 / np.fmax(toward_zero, 1e-9)))


def _normal(by: Array, weight: Array, free: Array) -> tuple[Array, Array, Array]:
    """Give the scaled normal matrices (rows, 4, 4), their scales (rows, 4), weighted `by`.

    Parameters that are not free stand alone with a 1.
    """
    own = by * free[:, None]
    weighted = own * weight
    normal = np.einsum("jnr,knr->rjk", weighted, own)
    scale = np.sqrt(np.einsum("rjj->rj", normal))
    scale[scale == 0.0] = 1.0
    normal /= scale[:, :, None] * scale[:, None, :]
    return normal, scale, weighted


def _finish(
    curves: Sequence[Curve],
    curve_of_track: Sequence[int],
    rows: _Rows,
    state: _State,
    settled: Flags,
) -> Fits:
    """Judge what each row is worth, keep the best of each curve, add what follows from it."""
    n, count = rows.gap.shape
    sets = count // len(curve_of_track)
    weight = rows.present / state.variance
    normal, scale, _ = _normal(state.by, weight, rows.free)
    blank = ~(state.good & settled)
    normal[blank] = np.eye(4)
    np.einsum("rjj->rj", normal)[rows.free.T == 0.0] = 1.0
    determined = np.linalg.eigvalsh(normal)[:, 0] > DETERMINED
    normal[~determined] = np.eye(4)
    root = rows.free.T / scale
    covariance = np.linalg.inv(normal) * root[:, :, None] * root[:, None, :]

    dof = (rows.present.sum(axis=0) - rows.free.sum(axis=0)).astype(int)
    chi_square = np.einsum("nr,nr,nr->r", weight, state.miss, state.miss)
    real = np.empty(count, dtype=bool)
    values, outer = np.zeros((4, count)), np.zeros((4, 4, count))
    for t, c in enumerate(curve_of_track):
        span = slice(t * sets, (t + 1) * sets)
        real[span] = curves[c].real(state.inner[:, span])
        curves[c].to_outer(state.inner[:, span], values[:, span], outer[:, :, span])
    outer_covariance = np.einsum("ijr,rjk,lkr->ilr", outer, covariance, outer, optimize=False)
    u = np.sqrt(np.maximum(np.einsum("jjr->jr", outer_covariance), 0.0))
    for t, c in enumerate(curve_of_track):
        if curves[c].family is JOINED:  # a join that may lie anywhere on the facing is none
            span = slice(t * sets, (t + 1) * sets)
            determined[span] &= u[curves[c].free - 1, span] < values[0, span]
    status = np.where(
        dof < 0, TOO_FEW,
        np.where(blank | ~real, UNREAL, np.where(determined, FITTED, UNDETERMINED)),
    )  # fmt: skip

    pick = _best_track(len(curves), curve_of_track, np.where(status == FITTED, chi_square, np.inf))
    thinnest = np.where(rows.present[:n] > 0, rows.gap, np.inf)
    first = thinnest.argmin(axis=0) if n else np.zeros(count, dtype=int)
    each = np.arange(count)
    facing = state.miss[first, each] + rows.position[first, each] if n else np.zeros(count)

    def along(gradient: Array) -> Array:
        square = np.einsum("jr,rjk,kr->r", gradient, covariance, gradient, optimize=False)
        return np.asarray(np.sqrt(np.maximum(square, 0.0)))

    return Fits(
        curves=tuple(curves),
        status=status[pick],
        values=values[:, pick],
        u=u[:, pick],
        covariance=outer_covariance[:, :, pick],
        chi_square=chi_square[pick],
        dof=dof[pick],
        p=np.where(dof > 0, special.chdtrc(np.maximum(dof, 1), chi_square), np.nan)[pick],
        residuals=-state.miss[:, pick],
        residual_u=np.sqrt(state.variance[:, pick]),
        reach_per_gap=state.slope[:n, pick],
        tip_opening=(state.miss[n] + rows.tip)[pick],
        tip_opening_u=along(state.by[:, n])[pick],
        facing_length=facing[pick],
        facing_length_u=along(state.by[:, first, each])[pick],
    )


def _best_track(curves: int, curve_of_track: Sequence[int], chi_square: Array) -> Numbers:
    """Find the row of each curve and set (C, N) that came out lowest."""
    tracks = len(curve_of_track)
    score = chi_square.reshape(tracks, -1)
    sets = score.shape[1]
    best = np.empty((curves, sets), dtype=np.intp)
    owner = np.asarray(curve_of_track)
    for c in range(curves):
        mine = np.flatnonzero(owner == c)
        winner = mine[score[mine].argmin(axis=0)] if len(mine) > 1 else mine[0]
        best[c] = winner * sets + np.arange(sets)
    return best
