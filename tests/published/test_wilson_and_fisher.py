"""Limits of a share, and two shares beside each other, against published worked examples.

Wilson's score interval: R. G. Newcombe, "Two-sided confidence intervals for the single proportion:
comparison of seven methods", Statistics in Medicine 17 (1998) 857-872, table I (from memory).
Fisher's exact test: R. A. Fisher, The Design of Experiments (1935), the lady tasting tea, 3 of 4
(two-sided 34/70); the table of convictions of twins of criminals, R. A. Fisher,
"The logic of inductive inference", J. Roy. Stat. Soc. 98 (1935): 10 of 13 against 2 of 17
(one-sided 0.000465, two-sided 0.000537; from memory).
"""

import pytest

from app.core.jobs.cures import fisher_p, wilson_limits


@pytest.mark.parametrize(
    ("better", "cases", "low", "high"),
    [
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0, 0.1611),
        (1, 29, 0.0061, 0.1718),
    ],
)
def test_wilson_s_limits_are_those_of_newcombe_s_table(better, cases, low, high):
    assert wilson_limits(better, cases) == pytest.approx((low, high), abs=5e-5)


def test_the_lady_who_tastes_three_of_four_cups_shows_little():
    assert fisher_p(3, 4, 1, 4) == pytest.approx(34 / 70)


def test_fisher_s_twins_of_criminals():
    assert fisher_p(10, 13, 2, 17) == pytest.approx(0.000537, abs=5e-7)
