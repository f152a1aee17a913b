"""The cut with the fewest bends that stays inside a band: what a hand can follow on paper.

A cut along a rail is a row of depths c(s), free between a least and a most at every station. Of
all these the one is taken whose slope changes least in all, Σ|c′ after − c′ before|, and of equal
ones that which takes the least: a linear programme. Between the places where the band is looked
at, a straight line bends least, so the programme is put at a few stations only, and those where
its answer leaves the band are added until none is left: that answer is the best over all stations.
"""

from itertools import pairwise

import numpy as np
from scipy.optimize import linprog

from app.core.plan.cuts import Array

EVERY_MM = 1.5
NEAREST_MM = 0.02  # closer stations are one place: slopes between them would be mere rounding
WITHIN_MM = 1e-6
MOST_ROUNDS = 30
# what a mm² of cut counts against a bend: it only chooses between equal bends
LEAST_CUT = 1e-6


def bend_least(stations_mm: Array, low_mm: Array, high_mm: Array) -> Array:
    """Return the cut with the fewest bends between `low_mm` and `high_mm`, at each station.

    Needs low ≤ high; the answer is inside everywhere. A programme that can't be solved (none was
    seen) gives the least cut.
    """
    if not high_mm.any():
        return low_mm.copy()
    starts = _merge(stations_mm)
    places, low = stations_mm[starts], np.maximum.reduceat(low_mm, starts)
    high = np.maximum(low, np.minimum.reduceat(high_mm, starts))
    # where nothing may come off, nothing need be asked
    used = np.flatnonzero(high)
    first, last = max(0, int(used[0]) - 2), min(len(places) - 1, int(used[-1]) + 2)
    grid = np.arange(places[first], places[last], EVERY_MM)
    asked = {first, last, int(used[0]), int(used[-1]), *np.searchsorted(places, grid).tolist()}
    cut = low
    for _ in range(MOST_ROUNDS):
        knots = sorted(asked)
        depths = _solve(places[knots], low[knots], high[knots])
        if depths is None:
            cut = low
            break
        cut = np.interp(places, places[knots], depths)
        missed = np.maximum(low - cut, cut - high)
        between = (np.arange(a, b + 1) for a, b in pairwise(knots))
        worst = {int(run[missed[run].argmax()]) for run in between} - asked
        worst = {at for at in worst if missed[at] > WITHIN_MM}
        if not worst:
            break
        asked |= worst
    return np.clip(np.interp(stations_mm, places, cut), low_mm, high_mm)


def _merge(stations_mm: Array) -> list[int]:
    """Return where each place begins when stations closer than `NEAREST_MM` are one."""
    starts = [0]
    for at, place in enumerate(stations_mm):
        if place - stations_mm[starts[-1]] >= NEAREST_MM:
            starts.append(at)
    return starts


def _solve(places_mm: Array, low_mm: Array, high_mm: Array) -> Array | None:
    """Solve min Σ(p + q) + ε·area over c, p, q with D·c = p − q, low ≤ c ≤ high, p, q ≥ 0."""
    count, steps = len(places_mm), np.diff(places_mm)
    bends = count - 2
    if bends < 1:
        return low_mm
    second = np.zeros((bends, count))
    row = np.arange(bends)
    second[row, row], second[row, row + 2] = 1 / steps[:-1], 1 / steps[1:]
    second[row, row + 1] = -(1 / steps[:-1] + 1 / steps[1:])
    parts = np.eye(bends)
    share = np.convolve(steps, [0.5, 0.5])
    # in µm, far above the solver's own 1e-7
    ends = zip((1e3 * low_mm).tolist(), (1e3 * high_mm).tolist(), strict=True)
    answer = linprog(
        c=np.concatenate([LEAST_CUT * share, np.ones(2 * bends)]),
        A_eq=np.hstack([second, -parts, parts]),
        b_eq=np.zeros(bends),
        bounds=[*ends, *[(0.0, None)] * (2 * bends)],
        method="highs",
    )
    return None if answer.x is None else np.asarray(answer.x[:count]) / 1e3
