"""GUM (JCGM 100:2008), example H.2: resistance and reactance from correlated readings.

Five sets of V, I and φ, read together. The rows and results are from memory; the rows reproduce
the results, which rules out a slip in their recall (`../shared/checks/README.md`, section 4). This
is how the comparison puts errors together that several readings share: a sum of squares without
the correlations gives other uncertainties.
"""

from math import cos, hypot, sin, sqrt

import numpy as np
import pytest

from app.core.values.uncertainty import propagate
from tests.published.data_files import read_columns

NAMES = ("R", "X", "Z")


def inputs():
    """Give means and the covariance of the means of V, I and φ."""
    rows = np.array(read_columns("gum_h2.csv", "V", "I", "phi"))
    return rows.mean(axis=1), np.cov(rows) / rows.shape[1]


def sensitivities(v, i, phi):
    """Give R, X, Z and how each hangs on V, I and φ."""
    values = np.array([v * cos(phi) / i, v * sin(phi) / i, v / i])
    jacobian = np.array(
        [
            [cos(phi) / i, -values[0] / i, -values[1]],
            [sin(phi) / i, -values[1] / i, values[0]],
            [1.0 / i, -values[2] / i, 0.0],
        ]
    )
    return values, jacobian


def test_the_inputs_are_the_published_ones():
    means, covariance = inputs()
    assert means == pytest.approx([4.9990, 0.019661, 1.04446], rel=1e-5)
    u = np.sqrt(np.diag(covariance))
    assert u == pytest.approx([0.0032, 0.0000095, 0.00075], rel=0.01)
    correlation = covariance / np.outer(u, u)
    assert correlation[0, 1] == pytest.approx(-0.36, abs=0.005)
    assert correlation[0, 2] == pytest.approx(0.86, abs=0.005)
    assert correlation[1, 2] == pytest.approx(-0.65, abs=0.005)


def test_results_uncertainties_and_correlations_are_the_published_ones():
    means, covariance = inputs()
    values, jacobian = sensitivities(*means)
    found = propagate(jacobian, covariance)
    u = np.sqrt(np.diag(found))
    assert values == pytest.approx([127.732, 219.847, 254.260], abs=0.001)
    assert u == pytest.approx([0.071, 0.2955, 0.236], abs=0.0006)
    correlation = found / np.outer(u, u)
    assert correlation[0, 1] == pytest.approx(-588e-3, abs=0.001)
    assert correlation[0, 2] == pytest.approx(-0.485, abs=0.001)
    assert correlation[1, 2] == pytest.approx(0.993, abs=0.001)


def test_leaving_the_correlations_out_would_show():
    means, covariance = inputs()
    _, jacobian = sensitivities(*means)
    bare = [hypot(*row) for row in jacobian * np.sqrt(np.diag(covariance))]
    assert abs(bare[0] - 0.071) > 0.05
    assert abs(bare[2] - 0.236) > 0.02
    assert sqrt(propagate(jacobian, np.diag(np.diag(covariance)))[0, 0]) == pytest.approx(bare[0])
