"""GUM (JCGM 100:2008), example H.1: the uncertainty budget of an end gauge.

Published: contributions, their degrees of freedom, u_c = 32 nm and ν = 16, as read in a
national metrology institute's public documentation. U₉₉ = 93 nm with k = 2.92 is from memory
and recomputed. Contributions are the rounded ones, so only the truncated ν is compared.
"""

from math import floor

import pytest

from app.core.values.uncertainty import Cause, combine_budget

PARTS = [
    Cause("standard", 25.0, 18),
    Cause("differences of repeats", 5.8, 24),
    Cause("comparator, random", 3.9, 5),
    Cause("comparator, systematic", 6.7, 8),
    Cause("difference of expansion", 2.9, 50),
    Cause("difference of temperature", 16.6, 2),
]


def test_root_sum_of_squares_and_degrees_of_freedom_are_the_published_ones() -> None:
    budget = combine_budget(PARTS)
    assert budget.u_mm == pytest.approx(32.0, abs=0.5)
    assert floor(budget.dof) == 16
    assert budget.coverage_factor == pytest.approx(2.12, abs=5e-3)


def test_the_ninety_nine_percent_figure_is_the_recalled_one() -> None:
    budget = combine_budget(PARTS, level=0.99)
    assert budget.coverage_factor == pytest.approx(2.92, abs=5e-3)
    assert budget.coverage_factor * budget.u_mm == pytest.approx(93.0, abs=1.0)
