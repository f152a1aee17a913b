"""Spearman's rank correlation and how rarely chance makes so much of it, against printed tables.

E. G. Olds, "Distributions of sums of squares of rank differences for small numbers of individuals",
Annals of Mathematical Statistics 9 (1938) 133-148, as in M. G. Kendall, Rank Correlation Methods
(from memory): of six ranked, a sum of squares of 4 or less comes in 12 of 720 orders, one way; of
five, no difference at all in 1 of 120.
"""

import pytest

from app.core.jobs.cures import rank_correlation


@pytest.mark.parametrize(
    ("second", "rho", "p"),
    [
        ((1, 2, 3, 4, 5), 1.0, 2 / 120),
        ((5, 4, 3, 2, 1), -1.0, 2 / 120),
        ((2, 1, 4, 3, 5, 6), 1 - 6 * 4 / 210, 24 / 720),
    ],
)
def test_the_tables_of_few_cases(second, rho, p):
    found = rank_correlation(range(1, len(second) + 1), second)
    assert found == pytest.approx((rho, p))


def test_ties_take_their_mean_rank():
    """By hand: ranks 1.5 1.5 3.5 3.5 beside 1 2 3 4, 4/√20; no order of 6 does more, 2 as much."""
    assert rank_correlation((0, 0, 1, 1), (1, 2, 3, 4)) == pytest.approx((4 / 20**0.5, 2 / 6))


def test_who_always_says_the_same_shows_nothing():
    assert rank_correlation((1, 1, 1, 1, 1), (1, 2, 3, 4, 5)) == (0.0, 1.0)
