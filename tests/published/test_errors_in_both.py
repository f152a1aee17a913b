"""Pearson's data with York's weights: a straight line with errors in both variables.

Published: data and line (York 1966; Neri et al., J. Phys. E 22 (1989) 215, as public test suites
repeat them), χ²/(n − 2) = 1.4833. Computed: χ² = 11.866353 (York's iteration).

Our variance of a reading, u(position)² + (ds/dh · u(gap))², is York's for a straight line, so χ²
at the published line must be the published one. Our minimum is another by intent: the weights
follow the slope but are not themselves traded against the residuals, because a blade's nominal
thickness is not a noisy measurement of it. The two lines must agree within a small part of their
published uncertainty.
"""

import numpy as np
import pytest
from app.core.facing.descent import evaluate

from tests.published.data_files import read_columns
from tests.published.stepping import lay_out, make_family, solve

INTERCEPT, SLOPE = 5.47991022403286, -0.4805334074462
U_INTERCEPT, U_SLOPE = 0.294971, 0.0579850  # York 2004, weights known: computed


def reach_line(inner, gap, by):
    """Reach along a straight line, s = b − q·h."""
    q = inner[1] + 0.0 * gap
    by[0] = gap
    return q * gap, q


def pearson():
    x, weight_x, y, weight_y = (
        np.array(column)
        for column in read_columns("pearson_york.csv", "x", "weight_x", "y", "weight_y")
    )
    return lay_out(make_family(reach_line), x, y, weight_x**-0.5, weight_y**-0.5, [1, 1, 0, 0])


def test_chi_square_at_the_published_line_is_the_published_one():
    state = evaluate(np.array([[INTERCEPT], [-SLOPE], [0.0], [0.0]]), pearson(), with_tip=False)
    chi_square = float((state.miss**2 / state.variance).sum())
    assert chi_square == pytest.approx(11.866353, abs=1e-6)
    assert chi_square / 8 == pytest.approx(1.4833, abs=5e-5)


def test_our_line_lies_within_a_small_part_of_its_uncertainty_from_the_published_one():
    inner, u, chi_square = solve(pearson(), [6.0, 0.5, 0.0, 0.0])
    assert inner[0] == pytest.approx(INTERCEPT, abs=0.35 * U_INTERCEPT)
    assert -inner[1] == pytest.approx(SLOPE, abs=0.35 * U_SLOPE)
    assert u[0] == pytest.approx(U_INTERCEPT, rel=0.1)
    assert u[1] == pytest.approx(U_SLOPE, rel=0.1)
    assert chi_square == pytest.approx(11.866353, rel=0.05)
