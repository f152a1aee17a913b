"""NIST Statistical Reference Datasets, nonlinear: DanWood and Misra1a, by our own stepping.

Published: data, starts and certified values as NIST gives them (DanWood.dat, Misra1a.dat).
Certified deviations are scaled by the residuals; ours are for known weights, so they are scaled
here.
"""

import numpy as np
import pytest

from tests.published.data_files import read_columns
from tests.published.stepping import lay_out, make_family, solve


def reach_power(inner, gap, by):
    """Follow a power curve, y = b₁ x^b₂."""
    _, b1, b2, _ = inner
    power = gap**b2
    by[0], by[1] = -power, -b1 * power * np.log(gap)
    return -b1 * power, -b1 * b2 * gap ** (b2 - 1.0)


def reach_rise(inner, gap, by):
    """Follow a rise to a limit, y = b₁ (1 − exp(−b₂ x))."""
    _, b1, b2, _ = inner
    left = np.exp(-b2 * gap)
    by[0], by[1] = left - 1.0, -b1 * gap * left
    return -b1 * (1.0 - left), -b1 * b2 * left


PROBLEMS = {
    "DanWood": (
        "nist_danwood.csv", reach_power, [(1.0, 5.0), (0.7, 4.0)],
        (7.6886226176e-01, 3.8604055871e00), (1.8281973860e-02, 5.1726610913e-02),
        4.3173084083e-03,
    ),
    "Misra1a": (
        "nist_misra1a.csv", reach_rise, [(500.0, 1e-4), (250.0, 5e-4)],
        (2.3894212918e02, 5.5015643181e-04), (2.7070075241e00, 7.2668688436e-06),
        1.2455138894e-01,
    ),
}  # fmt: skip


@pytest.mark.parametrize("start", [0, 1], ids=["start 1", "start 2"])
@pytest.mark.parametrize("name", PROBLEMS)
def test_the_certified_values_are_reached_from_both_starts(name, start):
    file, reach, starts, certified, deviations, residual_sum = PROBLEMS[name]
    y, x = read_columns(file, "y", "x")
    rows = lay_out(make_family(reach), x, y, 0.0, 1.0, [0, 1, 1, 0])
    inner, u, chi_square = solve(rows, [0.0, *starts[start], 0.0])
    assert inner[1:3] == pytest.approx(certified, rel=1e-7)
    assert chi_square == pytest.approx(residual_sum, rel=1e-9)
    scale = np.sqrt(chi_square / (len(x) - 2))
    assert u[1:3] * scale == pytest.approx(deviations, rel=1e-6)
