"""Geometric circle fits: Gander, Golub, Strebel (1994) and Gander, Hřebíček.

Published: the eight points (a public script). From memory: the six points and all results
(BIT 34, 558–578; Solving Problems in Scientific Computing); each recalled result was reproduced
from its points by an independent program, so all its digits stand.

A facing's arc is held tangent to its table, so the product never fits a free circle. What is
checked is its stepping: the same code, given each point's distance from the circle to make
least, must end where the literature ends, and not at the algebraic circle, which lies elsewhere.
"""

import numpy as np
import pytest

from tests.published.data_files import read_columns
from tests.published.stepping import lay_out, make_family, solve

KNOWN = {
    "circle_ggs6.csv": ((4.73978242, 2.98353275, 4.71422600), 1.2275990782, (4.7, 3.0, 4.0)),
    "circle_gander_hrebicek8.csv": (
        (3.04323825, 0.74567831, 4.10585584), 0.2959484380, (3.0, 1.0, 4.0),
    ),
}  # fmt: skip


@pytest.mark.parametrize("file", KNOWN)
def test_the_circle_of_least_distance_is_found(file):
    x, y = (np.array(column) for column in read_columns(file, "x", "y"))
    (x_centre, y_centre, radius), squares, (x0, y0, r0) = KNOWN[file]

    def reach_circle(inner, number, by):
        """For point number i: 0 − u is its distance from the centre less the radius."""
        _, r, xc, yc = inner
        i = number.astype(int) - 1
        away = np.hypot(x[i] - xc, y[i] - yc)
        by[0], by[1], by[2] = 1.0, (x[i] - xc) / away, (y[i] - yc) / away
        return r - away, np.zeros_like(away)

    numbers = np.arange(1, len(x) + 1)
    rows = lay_out(make_family(reach_circle), numbers, np.zeros(len(x)), 0.0, 1.0, [0, 1, 1, 1])
    inner, _, found = solve(rows, [0.0, r0, x0, y0])
    assert inner[1:] == pytest.approx([radius, x_centre, y_centre], abs=1e-7)
    assert found == pytest.approx(squares, abs=1e-9)
