"""Steps many small weighted least-squares fits to their ends together.

Each row is one curve fitted to one set of readings. All rows take a Levenberg–Marquardt step at
once (Marquardt 1963) with analytic derivatives and leave when they have settled. The weights
follow the slope of the curve from step to step and are not differentiated, so at the end each
fit is the weighted least-squares fit for the weights of its own curve.

Arrays are laid out (readings, rows): long in the direction that grows. The tip is a reading of
the gap at s = 0, the last of the readings; a fit without it leaves the line out.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from app.core.facing.families import FAMILIES, Array, Family, Flags

Numbers = npt.NDArray[np.intp]
Spans = tuple[tuple[Family, slice], ...]

STEPS = 16
BEHIND_AT = {4, 6, 8}  # steps at which rows that fell behind are left
# lengths of the last step in χ² units; 1e-10 is 1e-5 of a standard uncertainty, and what then
# remains is a small part of it
NEAR, NEARLY_SETTLED, SETTLED = 1e-2, 1e-8, 1e-10
FIRST_DAMPING, LEAST_DAMPING, HOPELESS_DAMPING = 1e-4, 1e-9, 1e7


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

    def alone(self, row: int, blades: int, *, tip_in: bool) -> "ReadingArrays":
        """Give one set without its padding, with or without the tip."""
        only = slice(row, row + 1)
        return ReadingArrays(
            self.gap[:blades, only], self.position[:blades, only], self.gap_u[:blades, only],
            self.position_u[:blades, only], self.present[:blades, only],
            self.tip[only], self.tip_u[only], np.array([float(tip_in)]),
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Rows:
    """The readings of each row, and what is fitted to them. Lengths in mm.

    `table` holds all that follows, line by line, so that rows are taken out in one go. `present`
    (n + 1, rows) is 1 for a reading that counts, the tip last. `free` (4, rows) is 1 for the
    parameters the row's curve has. `kinds` numbers its family among `families`; rows stand in
    their order, which `spans` gives as slices.
    """

    table: Array
    kinds: Numbers
    families: tuple[Family, ...]
    spans: Spans
    gap: Array
    position: Array
    gap_u: Array
    position_u2: Array
    present: Array
    tip: Array
    tip_u2: Array
    largest_gap: Array
    free: Array

    @classmethod
    def lay_out(
        cls, table: Array, kinds: Numbers, families: tuple[Family, ...] = FAMILIES
    ) -> "Rows":
        """Name the lines of the table (5n + 8, rows)."""
        n = (len(table) - 8) // 5
        blades = table[: 4 * n].reshape(4, n, -1)
        tip, tip_u2, largest_gap = table[5 * n + 1 : 5 * n + 4]
        return cls(
            table, kinds, families, find_spans(kinds, families),
            blades[0], blades[1], blades[2], blades[3],
            table[4 * n : 5 * n + 1], tip, tip_u2, largest_gap, table[5 * n + 4 :],
        )  # fmt: skip

    def take(self, rows: Flags) -> "Rows":
        """Give some of the rows."""
        return Rows.lay_out(self.table[:, rows], self.kinds[rows], self.families)


@dataclass(frozen=True, slots=True)
class State:
    """What is known of every row at its present parameters; `miss` is fitted minus read.

    `by` (4, readings, rows) is minus the derivative of a position by the parameters, and for
    the tip minus that of the gap. `slope` is du/dh at each reading. `table` holds all of these.
    """

    table: Array
    good: Flags
    inner: Array
    miss: Array
    by: Array
    variance: Array
    slope: Array

    @classmethod
    def lay_out(cls, table: Array, good: Flags) -> "State":
        """Name the lines of the table (4 + 7 · readings, rows)."""
        n = (len(table) - 4) // 7
        parts = table[4:].reshape(7, n, -1)
        return cls(table, good, table[:4], parts[0], parts[1:5], parts[5], parts[6])

    def take(self, rows: Flags | Numbers) -> "State":
        """Give some of the rows."""
        return State.lay_out(self.table[:, rows], self.good[rows])

    def replace(self, other: "State", rows: Flags) -> "State":
        """Take these rows over from another state, in place."""
        np.copyto(self.table, other.table, where=rows)
        return self


def find_spans(kinds: Numbers, families: tuple[Family, ...] = FAMILIES) -> Spans:
    """Find where each family's rows begin and end."""
    ends = kinds.searchsorted(range(len(families) + 1)).tolist()
    return tuple(
        (family, slice(ends[k], ends[k + 1]))
        for k, family in enumerate(families)
        if ends[k + 1] > ends[k]
    )


def evaluate(inner: Array, rows: Rows, *, with_tip: bool, moved_little: bool = False) -> State:
    """Compare every row's curve with its readings, the tip too if asked.

    A curve that moved little is not asked again whether it is one.
    Variances are `u(position)² + (ds/dh · u(gap))²` for a blade, `u(tip)²` for the tip.
    """
    n, count = rows.gap.shape
    gap = rows.gap
    if with_tip:
        gap = np.empty((n + 1, count))
        gap[:n] = rows.gap
    good = np.ones(count, dtype=bool)
    state = State.lay_out(np.zeros((4 + 7 * len(gap), count)), good)
    miss, by, variance, slope = state.miss, state.by, state.variance, state.slope
    state.inner[:] = inner
    by[0] = -1.0
    for family, span in rows.spans:
        prepared = family.prepare(inner[:, span])
        if with_tip:
            gap[n, span] = family.gap(prepared, prepared[0])
        u, slope[:, span] = family.reach(prepared, gap[:, span], by[1:, :, span])
        np.subtract(prepared[0], u, out=miss[:, span])
        if not moved_little:
            good[span] = family.allowed(prepared, rows.largest_gap[span])
    blades = variance[:n]
    np.multiply(slope[:n], rows.gap_u, out=blades)
    blades *= blades
    blades += rows.position_u2
    miss[:n] -= rows.position
    if with_tip:
        miss[n] = gap[n] - rows.tip
        variance[n] = rows.tip_u2
        by[:, n] /= slope[n]
    good &= np.isfinite(np.add.reduce(miss) + np.add.reduce(variance))
    return state


def find_normal(by: Array, weight: Array, free: Array) -> tuple[Array, Array]:
    """Give the normal matrices (rows, 4, 4) and the weighted `by`.

    Parameters that are not free have zeros there.
    """
    own = by * free[:, None]
    weighted = own * weight
    return np.einsum("jnr,knr->rjk", weighted, own), weighted


def diagonals(matrices: Array) -> Array:
    """Give the diagonals of (rows, 4, 4) as a view, (rows, 4)."""
    return matrices.reshape(-1, 16)[:, ::5]


def descend(
    inner: Array, rows: Rows, hopeful: Flags, rivals: Numbers, *, with_tip: bool
) -> tuple[Array, Flags]:
    """Step every hopeful row to its least χ²; give its parameters and whether it got there.

    Rows with the same number in `rivals` look for the same fit: those that fall behind are left.
    """
    count = inner.shape[1]
    result, settled = inner.copy(), np.zeros(count, dtype=bool)
    state = evaluate(inner, rows, with_tip=with_tip)
    numbers = np.arange(count)
    damping, length = np.full(count, FIRST_DAMPING), np.full(count, np.inf)
    there, before = inner, np.full(inner.shape, np.nan)
    active = hopeful & state.good & (np.add.reduce(rows.present) >= np.add.reduce(rows.free))
    best = np.full(rivals.max() + 1, np.inf)
    for step_number in range(STEPS):
        if 2 * np.count_nonzero(active) <= len(numbers):
            result[:, numbers], settled[numbers] = state.inner, length < NEARLY_SETTLED
            if not active.any():
                return result, settled
            state, rows = state.take(active), rows.take(active)
            numbers, damping, length = numbers[active], damping[active], length[active]
            there, before = there[:, active], before[:, active]
            active = np.ones(len(numbers), dtype=bool)
        weight = rows.present[: len(state.miss)] / state.variance
        move, scale, reach = _find_step(state, weight, rows.free, damping)
        # a step held short by damping says nothing of how far it is to the end
        length = np.where(active, np.where(damping < 1.0, reach, np.inf), length)
        near = reach < NEAR
        all_near = bool(near.all())
        step = move
        if all_near or near.any():
            turn = (state.inner - there, move - before)
            step = _extrapolate(move, turn, scale, near)
        if not all_near:
            step = _hold_back(state.inner, step)
        new = evaluate(state.inner + step * active, rows, with_tip=with_tip, moved_little=all_near)
        fall = np.einsum("nr,nr,nr->r", weight, state.miss, state.miss)
        if step_number in BEHIND_AT:
            np.minimum.at(best, rivals[numbers], fall)
            active &= fall - reach <= best[rivals[numbers]]
        fall -= np.einsum("nr,nr,nr->r", weight, new.miss, new.miss)
        # near the end the weights change χ² as much as the step does: allow a little rise
        better = new.good & (fall > np.where(near, -10.0 * reach, 0.0))
        if all_near and better.all():
            there, before, state = state.inner, move, new
        else:
            hoped = reach + damping * np.einsum("jr,jr,jr->r", scale, move, move)
            damping = _adapt(damping, fall / hoped, near, better)
            there, before = np.where(better, state.inner, there), np.where(better, move, np.nan)
            state = new if better.all() else state.replace(new, better)
        active &= (length >= SETTLED) & (damping < HOPELESS_DAMPING)
    result[:, numbers], settled[numbers] = state.inner, length < NEARLY_SETTLED
    return result, settled


def _adapt(damping: Array, gain: Array, near: Flags, better: Flags) -> Array:
    """Damp less after a step that gave what it promised, more after one that did not."""
    ease = np.where(gain > 0.75, 0.1, np.where(gain < 0.25, 3.0, 1.0))
    ease[near] = 1.0
    less = np.maximum(damping * ease, LEAST_DAMPING)
    return np.asarray(np.where(better, less, np.maximum(damping * 5.0, 1e-3)))


def _find_step(
    state: State, weight: Array, free: Array, damping: Array
) -> tuple[Array, Array, Array]:
    """Give one damped step and the squares of the scale it was found in (4, rows), its length.

    The length is in χ² units.
    """
    normal, weighted = find_normal(state.by, weight, free)
    gradient = np.einsum("jnr,nr->rj", weighted, state.miss)
    diagonal = diagonals(normal)
    scale = diagonal.copy()
    diagonal *= (1.0 + damping)[:, None]
    diagonal += scale == 0.0
    move = np.linalg.solve(normal, gradient[:, :, None])[:, :, 0]
    return move.T, scale.T, np.einsum("rj,rj->r", move, gradient)


def _extrapolate(move: Array, turn: tuple[Array, Array], scale: Array, near: Flags) -> Array:
    """Near the end, mend a step by what the last one taught (Anderson 1965, depth 1).

    `turn` says how the place and the step have changed since. Weights that follow the fit make
    plain steps converge only linearly; this takes the slowest part out.
    """
    share = np.einsum("jr,jr,jr->r", scale, move, turn[1])
    share /= np.einsum("jr,jr,jr->r", scale, turn[1], turn[1])
    return np.where(near & np.isfinite(share), move - share * (turn[0] + turn[1]), move)


def _hold_back(inner: Array, step: Array) -> Array:
    """Shorten steps that would take a parameter that must stay positive to zero or below."""
    toward_zero = np.fmax(-step[1] / inner[1], -step[3] / inner[3])
    return np.asarray(step * np.minimum(1.0, 0.8 / np.fmax(toward_zero, 1e-9)))
