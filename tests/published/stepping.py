"""Lets published problems be stepped by `app.core.descent`, which knows no curve by name.

A problem is told as a family, as the curves are: the prediction of reading i is b − u(gap_i).
"""

import numpy as np
from app.core.facing.descent import Rows, descend, evaluate, find_normal

from app.core.facing.families import CONIC, Family


def make_family(reach):
    """Make a family of `reach(inner, gap, by)` alone: it is allowed everywhere."""
    return Family(
        prepare=lambda inner: tuple(inner),
        reach=reach,
        gap=lambda prepared, u: np.ones(prepared[0].shape) + 0.0 * u,
        rises=lambda prepared, u: np.ones(np.shape(prepared[0]), dtype=bool),  # noqa: ARG005
        allowed=lambda prepared, largest: np.ones(np.shape(largest), dtype=bool),  # noqa: ARG005
        begin=CONIC.begin,
        straighten=CONIC.straighten,
        settle=CONIC.settle,
    )


def lay_out(family, gap, position, gap_u, position_u, free):
    """Lay out one row."""
    blades = [
        np.broadcast_to(np.asarray(each, float), len(gap))
        for each in (gap, position, gap_u, np.square(position_u))
    ]
    present, tip_and_its_u2, largest_gap = [*np.ones(len(gap)), 0.0], [1.0, 1.0], [np.max(gap)]
    table = np.concatenate([*blades, present, tip_and_its_u2, largest_gap, free])[:, None]
    return Rows.lay_out(table, np.zeros(1, dtype=int), (family,))


def solve(rows, start):
    """Step from a start to the end; give inner parameters, uncertainties and χ².

    A few turns may be needed from the far starts the published problems prescribe.
    """
    inner = np.array(start, float)[:, None]
    settled, one = np.zeros(1, dtype=bool), np.zeros(1, dtype=int)
    with np.errstate(all="ignore"):
        for _ in range(20):
            inner, settled = descend(inner, rows, one == 0, one, with_tip=False)
            if settled[0]:
                break
        assert settled[0]
        state = evaluate(inner, rows, with_tip=False)
    weight = rows.present[:-1] / state.variance
    normal, _ = find_normal(state.by, weight, rows.free)
    there = rows.free[:, 0] > 0
    covariance = np.linalg.inv(normal[0][np.ix_(there, there)])
    u = np.zeros(4)
    u[there] = np.sqrt(np.diag(covariance))
    return inner[:, 0], u, float((weight * state.miss**2).sum())
