"""Where fits begin.

Near the break every curve is u ≈ q·√h, so a straight line of √h against s starts the plain ones.
For a curve with shape, √h is first bent as that shape would have it, for a grid of shapes; the
best line tells where to begin. A curve whose fit has more than one hollow begins in several
places (tracks). A join is followed only if it betters χ² by as much as its idle parameters would
on average: below that the readings don't tell where it is, and the curve could never be judged
better than one without a join.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from app.core.facing.curves import Curve, find_curve
from app.core.facing.descent import Numbers, ReadingArrays, find_spans
from app.core.facing.families import CONIC, FAMILIES, JOINED, Array, Family, Flags

REFINEMENTS, CLOSER = 2, 1.0 / 3.0
_PLACES = (-1.0, -0.5, 0.0, 0.5, 1.0)
_NEARBY = np.array([(i, j) for i in _PLACES for j in _PLACES]).T


@dataclass(frozen=True, slots=True)
class Plan:
    """What is tried for some curves, whatever the readings: a track for each group of starts.

    Tracks stand in the families' order; `owner` numbers the curve of each and
    `tracks_of` the tracks of each curve. `starts` (2, S) are
    the shapes to begin with, `sizes` how many each track has; `runs` says where each family's
    tracks, and its starts, begin and end.
    """

    curves: tuple[Curve, ...]
    owner: Numbers
    tracks_of: tuple[Numbers, ...]
    kinds: Numbers
    free: Array
    starts: Array
    sizes: tuple[int, ...]
    runs: tuple[tuple[Family, slice, slice], ...]


@lru_cache(maxsize=64)
def plan_tracks(keys: tuple[str, ...]) -> Plan:
    """Lay out the tracks for these curves; raise ValueError for an unknown one."""
    curves = tuple(find_curve(key) for key in keys)
    tracks = [
        (k, c, group)
        for k, family in enumerate(FAMILIES)
        for c, curve in enumerate(curves)
        if curve.family is family
        for group in curve.starts
    ]
    ends = [0]
    for _, _, group in tracks:
        ends.append(ends[-1] + len(group))
    kinds = np.array([k for k, _, _ in tracks])
    owner = np.array([c for _, c, _ in tracks])
    return Plan(
        curves=curves,
        owner=owner,
        tracks_of=tuple(np.flatnonzero(owner == c) for c in range(len(curves))),
        kinds=kinds,
        free=np.array([[float(i < curves[c].free) for _, c, _ in tracks] for i in range(4)]),
        starts=np.array([start for _, _, group in tracks for start in group]).T,
        sizes=tuple(len(group) for _, _, group in tracks),
        runs=tuple(
            (family, span, slice(ends[span.start], ends[span.stop]))
            for family, span in find_spans(kinds)
        ),
    )


def first_guess(readings: ReadingArrays, present: Array, plan: Plan) -> tuple[Array, Flags]:
    """Start each row, (4, rows), and say whether it is worth following.

    `present` (n + 1, sets) is 1 for readings that count, the tip last.
    """
    n, sets = readings.gap.shape
    there = present > 0.0
    gap = np.empty((n + 1, sets))
    gap[:n], gap[n] = readings.gap, readings.tip
    gap[~there] = 1.0
    root = np.sqrt(gap)
    position, position_u2, gap_u = np.zeros((3, n + 1, sets))
    position[:n], position_u2[:n] = readings.position, readings.position_u**2
    gap_u[:n], gap_u[n] = readings.gap_u, readings.tip_u
    low = np.where(there, root, np.inf).min(axis=0)
    high = np.where(there, root, 0.0).max(axis=0)
    roughly_q = (position * present).max(axis=0) / (high - low)
    weight = present / (position_u2 + (0.5 * roughly_q * gap_u) ** 2 / gap)
    bent = [
        (family, tracks, np.array(family.begin(low, high, *plan.starts[:, span, None])))
        for family, tracks, span in plan.runs
        if family is not CONIC
    ]
    roots = [root[:, None], *(each.straighten(root[:, None], *shapes) for each, _, shapes in bent)]
    lines = _fit_lines(np.concatenate(roots, axis=1), position, weight)
    plain, end = lines[:, 0], 1

    inner = np.empty((4, len(plan.owner), sets))
    hopeful = np.ones((len(plan.owner), sets), dtype=bool)
    for family, tracks, span in plan.runs:
        if family is CONIC:
            inner[:2, tracks] = plain[:2, None]
            inner[2:, tracks] = plan.starts[:, span, None]
    for family, tracks, shapes in bent:
        first, end = end, end + shapes.shape[1]
        found = _take_best(plan.sizes[tracks], lines[:, first:end], shapes)
        if family is JOINED:
            idle = np.add.reduce(plan.free[2:, tracks])[:, None]
            promising = plain[2] - found[4] > 0.5 * idle
            if promising.any():
                found = _refine(found, root, low, high, position, weight)
            hopeful[tracks] = promising & (plain[2] - found[4] > idle)
        inner[0, tracks] = found[0]
        inner[1:, tracks] = family.settle(found[1], found[2], found[3])
    return inner.reshape(4, -1), hopeful.ravel()


def _fit_lines(root: Array, position: Array, weight: Array) -> Array:
    """Fit s = b − q·root, (readings, lines, sets), by weights; give b, q, χ² (3, lines, sets)."""
    total = np.add.reduce(weight)
    share = weight / total
    found = np.empty((3, *root.shape[1:]))
    mean_root = np.einsum("ns,nls->ls", share, root)
    mean_s = np.einsum("ns,ns->s", share, position)
    away, off = root - mean_root, position - mean_s
    weighted = share[:, None] * away
    across = np.einsum("nls,ns->ls", weighted, off)
    q = np.divide(-across, np.einsum("nls,nls->ls", weighted, away), out=found[1])
    np.add(mean_s, q * mean_root, out=found[0])
    misfit = total * (np.einsum("ns,ns,ns->s", share, off, off) + across * q)
    found[2] = np.where(np.isnan(misfit), np.inf, misfit)
    return found


def _take_best(sizes: tuple[int, ...], lines: Array, shapes: Array) -> Array:
    """Give b, q, both shapes and χ² of the best line in each group, (5, groups, sets)."""
    misfit = lines[2]
    ends = np.cumsum(sizes).tolist()
    best = np.array(
        [
            z - size + misfit[z - size : z].argmin(axis=0)
            for z, size in zip(ends, sizes, strict=True)
        ]
    )
    every = np.concatenate([lines[:2], shapes, lines[2:]])
    return np.asarray(every[:, best, np.arange(misfit.shape[1])])


def _refine(
    found: Array, root: Array, low: Array, high: Array, position: Array, weight: Array
) -> Array:
    """Look around each start for a better join and bend, closer and closer."""
    tracks, sets = found.shape[1:]
    near = _NEARBY.shape[1]
    each = np.arange(tracks)[:, None], np.arange(sets)
    reach = high - low
    first, last = low + 0.02 * reach, high - 0.02 * reach
    along, turn = 0.045, 1.3
    for _ in range(REFINEMENTS):
        places = np.empty((5, tracks, near, sets))
        join = found[2][:, None] + (along * _NEARBY[0])[:, None] * reach
        places[2] = np.minimum(np.maximum(join, first), last)
        places[3] = found[3][:, None] * (turn ** _NEARBY[1])[:, None]
        shapes = places[2:4].reshape(2, -1, sets)
        lines = _fit_lines(JOINED.straighten(root[:, None], *shapes), position, weight)
        places[[0, 1, 4]] = lines.reshape(3, tracks, near, sets)
        found = places[:, each[0], places[4].argmin(axis=1), each[1]]
        along, turn = along * CLOSER, turn**CLOSER
    return found
