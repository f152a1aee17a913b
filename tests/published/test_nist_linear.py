"""NIST Statistical Reference Datasets, linear regression: Norris, Pontius, NoInt1, NoInt2.

Published: Norris (a copy of Norris.dat with its certified values) and Pontius (data, estimates
and their deviations as repeated in public test suites). From memory: Pontius' residual
deviation and all of NoInt1 and NoInt2; each recalled value is reproduced here from its data.
"""

import pytest

from app.core.values.regression import fit_line, fit_origin, fit_polynomial
from tests.published.data_files import read_columns


def test_norris_straight_line_agrees_to_ten_digits() -> None:
    y, x = read_columns("nist_norris.csv", "y", "x")
    fit = fit_line(x, y)
    assert fit.coefficients == pytest.approx((-0.262323073774029, 1.00211681802045), rel=1e-10)
    assert fit.uncertainties == pytest.approx((0.232818234301152, 0.429796848199937e-3), rel=1e-10)
    assert fit.residual_sd == pytest.approx(0.884796396144373, rel=1e-10)
    assert fit.chi_square == pytest.approx(26.6173985294224, rel=1e-10)
    assert fit.dof == 34


def test_norris_does_not_depend_on_equal_weights() -> None:
    y, x = read_columns("nist_norris.csv", "y", "x")
    known = fit_line(x, y, [0.884796396144373] * len(x))
    assert known.coefficients == pytest.approx((-0.262323073774029, 1.00211681802045), rel=1e-10)
    assert known.uncertainties == pytest.approx((0.232818234301152, 0.429796848199937e-3), rel=1e-9)
    assert known.chi_square == pytest.approx(34, rel=1e-10)


def test_pontius_quadratic_agrees_to_nine_digits() -> None:
    y, x = read_columns("nist_pontius.csv", "y", "x")
    fit = fit_polynomial(x, y, 2)
    certified = (0.673565789473684e-3, 0.732059160401003e-6, -0.316081871345029e-14)
    deviations = (0.107938612033077e-3, 0.157817399981659e-9, 0.486652849992036e-16)
    # approx() would add an absolute 1e-12, which the third coefficient lies wholly within
    assert fit.coefficients == pytest.approx(certified, rel=1e-9, abs=0)
    assert fit.uncertainties == pytest.approx(deviations, rel=1e-9, abs=0)
    assert fit.residual_sd == pytest.approx(0.205177424076185e-3, rel=1e-9)


NO_INTERCEPT = {
    "NoInt1": (
        list(range(60, 71)),
        list(range(130, 141)),
        (2.07438016528926, 0.165289256198347e-1, 3.56753034006338),
    ),
    "NoInt2": ([4, 5, 6], [3, 4, 4], (0.727272727272727, 0.420827318078432e-1, 0.369274472937998)),
}


@pytest.mark.parametrize("name", NO_INTERCEPT)
def test_a_line_through_the_origin_agrees_to_thirteen_digits(name: str) -> None:
    x, y, (slope, slope_u, residual_sd) = NO_INTERCEPT[name]
    fit = fit_origin(x, y)
    assert fit.slope == pytest.approx(slope, rel=1e-13)
    assert fit.slope_u == pytest.approx(slope_u, rel=1e-13)
    assert fit.residual_sd == pytest.approx(residual_sd, rel=1e-13)
