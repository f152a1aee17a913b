"""A fitted line read at a place, with what the program's own covariance says of it there."""

import numpy as np

from app.core.values.regression import PolynomialFit


def read_line_at(fit: PolynomialFit, x: float) -> tuple[float, float]:
    """Give the line at x and its standard uncertainty: u² = gᵀ V g with g = (1, x) (GUM H.3.4)."""
    g = np.array([1.0, x])
    assert fit.covariance is not None
    return float(g @ fit.coefficients), float(np.sqrt(g @ np.asarray(fit.covariance) @ g))
