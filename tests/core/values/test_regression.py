"""Lines and their uncertainties, beyond what the published data sets show."""

import math

import numpy as np
import pytest

from app.core.values.regression import (
    fit_line,
    fit_origin,
    fit_polynomial,
    student_quantile,
)
from tests.published.lines import read_line_at


def test_two_points_give_a_line_but_say_nothing_of_its_uncertainty() -> None:
    fit = fit_line([0.0, 10.0], [1.0, 3.0])
    assert fit.coefficients == pytest.approx((1.0, 0.2))
    assert (fit.uncertainties, fit.residual_sd, fit.dof) == (None, None, 0)


def test_two_points_of_known_uncertainty_give_the_propagated_one() -> None:
    fit = fit_line([0.0, 10.0], [1.0, 3.0], [0.03, 0.04])
    assert fit.uncertainties == pytest.approx((0.03, 0.005))
    assert read_line_at(fit, 5.0) == pytest.approx((2.0, 0.025))


def test_a_heavier_reading_pulls_the_line() -> None:
    fit = fit_line([0.0, 1.0, 2.0], [0.0, 0.0, 3.0], [1.0, 1e-6, 1.0])
    assert read_line_at(fit, 1.0)[0] == pytest.approx(0.0, abs=1e-9)


def test_weighted_line_agrees_with_numpy() -> None:
    rng = np.random.default_rng(4)
    x, u = rng.uniform(0, 30, 12), rng.uniform(0.1, 2.0, 12)
    y = 3.0 - 0.4 * x + u * rng.standard_normal(12)
    fit = fit_line(x.tolist(), y.tolist(), u.tolist())
    slope_first, covariance = np.polyfit(x, y, 1, w=1 / u, cov="unscaled")
    assert fit.coefficients == pytest.approx(tuple(slope_first[::-1]), rel=1e-9)
    assert np.asarray(fit.covariance) == pytest.approx(covariance[::-1, ::-1], rel=1e-9)


def test_infinite_degrees_of_freedom_give_the_normal_quantile() -> None:
    assert student_quantile(0.975, math.inf) == pytest.approx(1.959963985, rel=1e-9)


@pytest.mark.parametrize(
    ("x", "y", "u", "words"),
    [
        ([], [], None, "no readings"),
        ([1.0], [2.0], None, "2 different positions"),
        ([3.0, 3.0, 3.0], [1.0, 2.0, 3.0], None, "2 different positions"),
        ([1.0, 2.0], [1.0], None, "not equally long"),
        ([1.0, math.nan], [1.0, 2.0], None, "finite"),
        ([1.0, 2.0], [1.0, math.inf], None, "finite"),
        ([1.0, 2.0], [1.0, 2.0], [0.1, 0.0], "more than zero"),
    ],
)
def test_impossible_columns_are_refused_in_words(
    x: list[float], y: list[float], u: list[float] | None, words: str
) -> None:
    with pytest.raises(ValueError, match=words):
        fit_line(x, y, u)


def test_a_line_through_the_origin_needs_something_other_than_zeros() -> None:
    with pytest.raises(ValueError, match="Every x is zero"):
        fit_origin([0.0, 0.0], [1.0, 2.0])


def test_a_parabola_through_three_points_is_exact() -> None:
    fit = fit_polynomial([-1.0, 0.0, 2.0], [6.0, 3.0, 9.0], 2)
    assert fit.coefficients == pytest.approx((3.0, -1.0, 2.0))
    assert fit.residuals == pytest.approx((0.0, 0.0, 0.0), abs=1e-12)
