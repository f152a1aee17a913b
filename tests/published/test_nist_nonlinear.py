"""NIST Statistical Reference Datasets, nonlinear: DanWood and Misra1a, by our own stepping.

Published: data, starts and certified values as NIST gives them (DanWood.dat, Misra1a.dat).
Certified deviations are scaled by the residuals; ours are for known weights, so they are scaled
here.
"""

import numpy as np
import pytest

from tests.published.data_files import read_columns
from tests.published.stepping import solve, weigh_equally


def power(b1, b2, x):
    """Give y = b₁ x^b₂ and its derivatives."""
    y = b1 * x**b2
    return y, x**b2, y * np.log(x)


def rise(b1, b2, x):
    """Give y = b₁ (1 − exp(−b₂ x)), a rise to a limit, and its derivatives."""
    left = np.exp(-b2 * x)
    return b1 * (1.0 - left), 1.0 - left, b1 * x * left


PROBLEMS = {
    "DanWood": (
        "nist_danwood.csv", power, [(1.0, 5.0), (0.7, 4.0)],
        (7.6886226176e-01, 3.8604055871e00), (1.8281973860e-02, 5.1726610913e-02),
        4.3173084083e-03,
    ),
    "Misra1a": (
        "nist_misra1a.csv", rise, [(500.0, 1e-4), (250.0, 5e-4)],
        (2.3894212918e02, 5.5015643181e-04), (2.7070075241e00, 7.2668688436e-06),
        1.2455138894e-01,
    ),
}  # fmt: skip


@pytest.mark.parametrize("start", [0, 1], ids=["start 1", "start 2"])
@pytest.mark.parametrize("name", PROBLEMS)
def test_the_certified_values_are_reached_from_both_starts(name, start):
    file, curve, starts, certified, deviations, residual_sum = PROBLEMS[name]
    y, x = (np.array(column) for column in read_columns(file, "y", "x"))

    def evaluate(parameters):
        predicted, by_b1, by_b2 = curve(*parameters, x)
        return weigh_equally(list(zip(-by_b1, -by_b2, y - predicted, strict=True)))

    parameters, u, squares = solve(evaluate, starts[start])
    assert parameters == pytest.approx(certified, rel=1e-7)
    assert squares == pytest.approx(residual_sum, rel=1e-9)
    scale = np.sqrt(squares / (len(x) - 2))
    assert np.array(u) * scale == pytest.approx(deviations, rel=1e-6)
