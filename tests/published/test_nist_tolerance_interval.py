"""NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.6.3: a two-sided tolerance interval.

From 43 values, limits between which 90 % of all lie, with 99 of 100: the handbook has χ² = 23.650
for 42 degrees of freedom, z = 1.645 and the factor k = 2.217. From memory; the three numbers are
recomputed here. A batch's "lies within the tolerance" rests on the same factor.
"""

import pytest
from scipy.stats import chi2, norm

from app.core.values.charts import filled_factor, tolerance_factor


def test_the_factor_for_43_values_is_the_handbooks():
    assert chi2.ppf(0.01, 42) == pytest.approx(23.650, abs=5e-4)
    assert norm.ppf(0.95) == pytest.approx(1.645, abs=5e-4)
    assert tolerance_factor(43, sure=0.99, share=0.90) == pytest.approx(2.217, abs=5e-4)


def test_of_very_many_values_both_factors_are_the_normal_distributions():
    for factor in (tolerance_factor, filled_factor):
        assert factor(2_000_000, sure=0.95) == pytest.approx(3.0, abs=0.01)
