"""Fits many plain curves to many sets of readings at once, by weighted least squares.

The residual is taken in what was read. A blade is read in position: its variance is
`u(position)² + (ds/dh · u(gap))²`, the slope taken on the fitted curve. The tip opening is read
in the gap: its residual is the gap read minus the curve's gap at s = 0. `descent.py` does
the stepping; here a fit begins and is judged. Uncertainties come from the inverse of the normal
matrix, for weights that are known: they are not scaled by χ².

Arrays are laid out (readings, sets): long in the direction that grows.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from app.core.facing.curves import Curve
from app.core.facing.descent import (
    Numbers,
    ReadingArrays,
    Rows,
    State,
    descend,
    diagonals,
    evaluate,
    find_normal,
)
from app.core.facing.families import CONIC, JOINED, Array, Flags
from app.core.facing.starts import Plan, first_guess, plan_tracks

# Variances inflated this much by other parameters leave a parameter undetermined; the ridge
# keeps a singular matrix invertible and is too small to be seen in others.
INFLATED, RIDGE = 1e9, 1e-13

FITTED, TOO_FEW, UNREAL, UNDETERMINED = 0, 1, 2, 3


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

    def of_one_set(self, row: int) -> list[list[float]]:
        """Give all that was found for one set, a list for each curve, as numbers of Python.

        In this order: `SCALARS`, then values (4), u (4), covariance (4 × 4), residuals (n + 1),
        residual_u (n + 1), reach_per_gap (n).
        """
        parts = [getattr(self, name)[None, :, row] for name in SCALARS]
        parts += [self.values[:, :, row], self.u[:, :, row]]
        parts += [self.covariance[:, :, :, row].reshape(16, -1)]
        parts += [self.residuals[:, :, row], self.residual_u[:, :, row]]
        parts += [self.reach_per_gap[:, :, row]]
        found: list[list[float]] = np.concatenate(parts).T.tolist()
        return found


SCALARS = (
    "status", "dof", "p", "chi_square",
    "tip_opening", "tip_opening_u", "facing_length", "facing_length_u",
)  # fmt: skip


def fit_curves(readings: ReadingArrays, keys: Sequence[str]) -> Fits:
    """Fit each curve to each set. Raises ValueError for an unknown curve.

    What a curve cannot be fitted to is marked in `status`, never dropped.
    """
    plan = plan_tracks(tuple(keys))
    sets, tracks = readings.gap.shape[1], len(plan.owner)
    with np.errstate(all="ignore"):
        present = np.concatenate([readings.present, readings.tip_in[None]])
        largest_gap = np.max(readings.gap * readings.present, axis=0, initial=0.0)
        told = (
            readings.gap, readings.position, readings.gap_u, readings.position_u**2, present,
            readings.tip[None], readings.tip_u[None] ** 2, largest_gap[None],
        )  # fmt: skip
        table = np.concatenate(told)[:, np.tile(np.arange(sets), tracks)]
        rows = Rows.lay_out(
            np.concatenate([table, plan.free.repeat(sets, axis=1)]), plan.kinds.repeat(sets)
        )
        rivals = (plan.owner[:, None] * sets + np.arange(sets)).ravel()
        start, hopeful = first_guess(readings, present, plan)
        inner, settled = descend(start, rows, hopeful, rivals, with_tip=bool(readings.tip_in.any()))
        return _finish(plan, rows, evaluate(inner, rows, with_tip=True), settled)


def _finish(plan: Plan, rows: Rows, state: State, settled: Flags) -> Fits:
    """Judge what each row is worth, keep the best of each curve, add what follows from it."""
    n, count = rows.gap.shape
    curves, sets = plan.curves, count // len(plan.owner)
    weight = rows.present / state.variance
    chi_square = np.einsum("nr,nr,nr->r", weight, state.miss, state.miss)
    sound = state.good & settled
    pick = _best_rows(plan, np.where(sound, chi_square, np.inf))
    state, free, sound, chi_square = (
        state.take(pick),
        rows.free[:, pick],
        sound[pick],
        chi_square[pick],
    )

    normal, _ = find_normal(state.by, weight[:, pick], free)
    scale = np.sqrt(diagonals(normal))
    scale[scale == 0.0] = 1.0
    normal /= scale[:, :, None] * scale[:, None, :]
    normal[~sound] = 0.0
    diagonals(normal)[:] = 1.0 + RIDGE
    inverse = np.asarray(np.linalg.inv(normal), dtype=np.float64)
    inflated = diagonals(inverse)
    determined = np.asarray(((inflated > 0.0) & (inflated < INFLATED)).all(axis=1))
    inverse[~determined] = _UNIT
    root = free.T / scale
    covariance = inverse * (root[:, :, None] * root[:, None, :])

    values, outer = np.zeros((4, len(pick))), np.zeros((4, 4, len(pick)))
    for c, curve in enumerate(curves):
        span = slice(c * sets, (c + 1) * sets)
        curve.to_outer(state.inner[:, span], values[:, span], outer[:, :, span])
        if curve.family is CONIC:  # what the others need is held to on the way
            sound[span] &= curve.real(state.inner[:, span])
    by_outer = np.ascontiguousarray(outer.transpose(2, 0, 1))
    outer_covariance = by_outer @ covariance @ by_outer.transpose(0, 2, 1)
    u = np.sqrt(diagonals(outer_covariance).T)
    for c, curve in enumerate(curves):
        if curve.family is JOINED:  # a join that may lie anywhere on the facing is none
            span = slice(c * sets, (c + 1) * sets)
            determined[span] &= u[curve.free - 1, span] < values[0, span]

    dof = (np.add.reduce(rows.present[:, pick]) - np.add.reduce(free)).astype(int)
    status = np.where(sound, np.where(determined, FITTED, UNDETERMINED), UNREAL)
    status[dof < 0] = TOO_FEW
    first, facing = _thinnest(rows, sets), np.zeros(len(pick))
    if n:
        first, each = np.tile(first, len(curves)), np.arange(len(pick))
        facing = state.miss[first, each] + np.tile(
            rows.position[first[:sets], each[:sets]], len(curves)
        )
        facing_by = state.by[:, first, each].T
    else:
        facing_by = np.zeros((len(pick), 4))
    gradients = np.stack([state.by[:, n].T, facing_by], axis=1)
    spread = np.einsum("rgj,rgj->gr", gradients @ covariance, gradients)

    def shaped(array: np.ndarray) -> np.ndarray:
        return array.reshape(*array.shape[:-1], len(curves), sets)

    return Fits(
        curves=curves,
        status=shaped(status),
        values=shaped(values),
        u=shaped(u),
        covariance=shaped(outer_covariance.transpose(1, 2, 0)),
        chi_square=shaped(chi_square),
        dof=shaped(dof),
        p=shaped(np.where(dof > 0, special.chdtrc(np.maximum(dof, 1), chi_square), np.nan)),
        residuals=shaped(-state.miss),
        residual_u=shaped(np.sqrt(state.variance)),
        reach_per_gap=shaped(state.slope[:n]),
        tip_opening=shaped(state.miss[n] + rows.tip[: len(pick)]),
        tip_opening_u=shaped(np.sqrt(np.maximum(spread[0], 0.0))),
        facing_length=shaped(facing),
        facing_length_u=shaped(np.sqrt(np.maximum(spread[1], 0.0))),
    )


def _thinnest(rows: Rows, sets: int) -> Numbers:
    """Find the thinnest blade of each set, whose stop is the facing length."""
    n = rows.gap.shape[0]
    gap = np.where(rows.present[:n, :sets] > 0.0, rows.gap[:, :sets], np.inf)
    return gap.argmin(axis=0) if n else np.zeros(sets, dtype=np.intp)


_UNIT = np.eye(4)


def _best_rows(plan: Plan, chi_square: Array) -> Numbers:
    """Find the row of each curve and set, curve by curve, that came out lowest."""
    score = chi_square.reshape(len(plan.owner), -1)
    sets = np.arange(score.shape[1])
    return np.concatenate(
        [
            (mine[score[mine].argmin(axis=0)] if len(mine) > 1 else mine[0]) * len(sets) + sets
            for mine in plan.tracks_of
        ]
    )
