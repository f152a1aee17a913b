"""GUM (JCGM 100:2008), example H.3: calibration of a thermometer by a straight line.

Published: data and results as repeated in a national metrology institute's public test suite
and documentation. The residual deviation 0.0035 is from memory and recomputed. The GUM's own
text was not opened.
"""

import pytest

from app.core.values.regression import fit_line
from tests.published.data_files import read_columns
from tests.published.lines import read_line_at


def test_line_correlation_and_prediction_are_the_published_ones() -> None:
    readings, corrections = read_columns("gum_h3.csv", "t_k_degC", "b_k_degC")
    fit = fit_line([t - 20.0 for t in readings], corrections)
    assert fit.uncertainties is not None
    assert fit.covariance is not None
    u_intercept, u_slope = fit.uncertainties
    assert fit.coefficients[0] == pytest.approx(-0.1712, abs=5e-5)
    assert fit.coefficients[1] == pytest.approx(0.00218, abs=5e-6)
    assert u_intercept == pytest.approx(0.0029, abs=5e-5)
    assert u_slope == pytest.approx(0.00067, abs=5e-6)
    assert fit.covariance[0][1] / (u_intercept * u_slope) == pytest.approx(-0.930, abs=5e-4)
    assert fit.residual_sd == pytest.approx(0.0035, abs=5e-5)
    assert fit.chi_square == pytest.approx(0.000110096583109, rel=1e-9)


def test_the_line_at_thirty_degrees_carries_its_correlation() -> None:
    readings, corrections = read_columns("gum_h3.csv", "t_k_degC", "b_k_degC")
    fit = fit_line([t - 20.0 for t in readings], corrections)
    value, u = read_line_at(fit, 10.0)
    assert value == pytest.approx(-0.1494, abs=5e-5)
    # 0.0073 would mean the covariance had been left out
    assert u == pytest.approx(0.0041, abs=5e-5)
    assert fit.t_dof == 9
