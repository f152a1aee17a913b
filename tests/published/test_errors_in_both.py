"""Pearson's data with York's weights: a straight line with errors in both variables.

Published: data and line (York 1966; Neri et al., J. Phys. E 22 (1989) 215, as public test suites
repeat them), χ²/(n − 2) = 1.4833. Computed: χ² = 11.866353 (York's iteration).

Our variance of a reading, u(position)² + (ds/dh · u(gap))², is York's for a straight line, so χ²
at the published line must be the published one. Our minimum is another by intent: the weights
follow the slope but are not themselves traded against the residuals, because a blade's nominal
thickness is not a noisy measurement of it. The two lines must agree within a small part of their
published uncertainty.
"""

from dataclasses import replace

import numpy as np
import pytest

from app.core.facing.curves import CURVES
from app.core.facing.families import Family
from app.core.facing.fitting import Readings, find_gram, model_of
from tests.published.data_files import read_columns
from tests.published.stepping import solve

INTERCEPT, SLOPE = 5.47991022403286, -0.4805334074462
U_INTERCEPT, U_SLOPE = 0.294971, 0.0579850  # York 2004, weights known: computed


# a curve as the program's own are: s = b − u(h), with u = q·h
LINE = replace(
    CURVES["arc"],
    family=Family(
        holds=lambda shape: True,  # noqa: ARG005
        reach=lambda shape, gap: (shape[0] * gap, shape[0], (gap,)),
        gap=lambda shape, u: u / shape[0],
    ),
    fixed=(),
)


def pearson():
    x, weight_x, y, weight_y = (
        np.array(column)
        for column in read_columns("pearson_york.csv", "x", "weight_x", "y", "weight_y")
    )
    stops = zip(x.tolist(), y.tolist(), weight_x**-0.5, weight_y**-0.5, strict=True)
    return model_of(LINE, Readings(tuple(stops), None))


def test_chi_square_at_the_published_line_is_the_published_one():
    chi_square = find_gram(pearson()((INTERCEPT, -SLOPE)))[-1][-1]
    assert chi_square == pytest.approx(11.866353, abs=1e-6)
    assert chi_square / 8 == pytest.approx(1.4833, abs=5e-5)


def test_our_line_lies_within_a_small_part_of_its_uncertainty_from_the_published_one():
    (b, q), u, chi_square = solve(pearson(), (6.0, 0.5))
    assert b == pytest.approx(INTERCEPT, abs=0.35 * U_INTERCEPT)
    assert -q == pytest.approx(SLOPE, abs=0.35 * U_SLOPE)
    assert u[0] == pytest.approx(U_INTERCEPT, rel=0.1)
    assert u[1] == pytest.approx(U_SLOPE, rel=0.1)
    assert chi_square == pytest.approx(11.866353, rel=0.05)
