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
from tests.published.stepping import solve, weigh_equally

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

    def evaluate(parameters):
        """Each point's distance from the circle, with its derivatives."""
        xc, yc, r = parameters
        away = np.hypot(x - xc, y - yc)
        return weigh_equally(list(zip((xc - x) / away, (yc - y) / away, -np.ones(len(x)), away - r,
                                      strict=True)))  # fmt: skip

    parameters, _, found = solve(evaluate, (x0, y0, r0))
    assert parameters == pytest.approx([x_centre, y_centre, radius], abs=1e-7)
    assert found == pytest.approx(squares, abs=1e-9)
