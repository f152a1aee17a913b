"""A prediction interval of a straight line: a textbook's worked example, and one by hand.

Montgomery and Runger, Applied Statistics and Probability for Engineers, the oxygen purity of a
distillation against the hydrocarbon level: 20 pairs, line 74.283 + 14.947·x, σ² = 1.18, and for a
new purity at x = 1.00 a 95 % prediction interval from 86.83 to 91.63 about 89.23. From memory; the
pairs as recalled give those numbers, which rules out a slip in the recall.

The program predicts from a line through the origin (what a number of strokes takes off); its
interval is checked against the same formulas without the intercept, worked out here.
"""

from math import sqrt

import numpy as np
import pytest
from scipy.stats import t

from app.core.plan.removal import RemovalPair, forecast_depth, learn_rate, make_kind
from app.core.values.regression import fit_line
from tests.published.lines import read_line_at

LEVEL = (0.99, 1.02, 1.15, 1.29, 1.46, 1.36, 0.87, 1.23, 1.55, 1.40,
         1.19, 1.15, 0.98, 1.01, 1.11, 1.20, 1.26, 1.32, 1.43, 0.95)  # fmt: skip
PURITY = (90.01, 89.05, 91.43, 93.74, 96.73, 94.45, 87.59, 91.77, 99.42, 93.65,
          93.54, 92.52, 90.56, 89.54, 89.85, 90.39, 93.25, 93.41, 94.98, 87.33)  # fmt: skip


def test_a_new_value_beside_a_line_falls_within_the_textbooks_limits():
    line = fit_line(LEVEL, PURITY)
    assert line.coefficients == pytest.approx((74.283, 14.947), abs=6e-4)
    assert line.residual_sd**2 == pytest.approx(1.18, abs=0.005)
    value, u = read_line_at(line, 1.00)
    half = t.ppf(0.975, line.dof) * sqrt(u**2 + line.residual_sd**2)
    assert (value, value - half, value + half) == pytest.approx((89.23, 86.83, 91.63), abs=0.006)


def test_a_new_depth_by_a_line_through_the_origin_has_the_formulas_limits():
    x, y = np.array(LEVEL), np.array(PURITY) - 74.283
    kind = make_kind("flat", "wet paper", "600", "hard_rubber")
    rate = learn_rate(kind, [RemovalPair(kind, *pair) for pair in zip(x, y, strict=True)])
    slope = (x @ y) / (x @ x)
    sd = sqrt(((y - slope * x) ** 2).sum() / 19)
    fixed = t.ppf(0.975, 19) * sd * sqrt(1.0 + 1.0 / (x @ x))
    # with a scatter that grows with x: the mean of y/x, and one new value of it at x = 1
    proportional = t.ppf(0.975, 19) * np.std(y / x, ddof=1) * sqrt(1.0 + 1.0 / 20)
    new = forecast_depth(rate, 1.00)
    assert new.expected_mm == pytest.approx(slope)
    assert (new.low_mm, new.high_mm) == pytest.approx(
        (
            min(slope - fixed, np.mean(y / x) - proportional),
            max(slope + fixed, np.mean(y / x) + proportional),
        )
    )
