"""Guard bands: what a verdict at the very limit risks, as published for three decision rules.

ILAC-G8:09/2019: a guard band w = U (k = 2) leaves less than 2.5 % false acceptance; ISO
14253-1:2017: w = 0.83 U leaves less than 5 %. Both as repeated on public pages of calibration
laboratories; the standards were not opened. JCGM 106:2012, 7.3: a Zener diode read at -5.47 V with
u = 0.05 V against an upper limit of -5.40 V conforms with probability 0.92 (from memory).
"""

import pytest
from scipy.stats import norm

from app.core.jobs.batch_verdicts import CANNOT_TELL, GUARD_U, IN, OUT, Limit

ALLOWED, U = 0.05, 0.01


def conforms(away: float) -> float:
    """Give the probability that what was read `away` from the target lies within the limit."""
    return float(norm.cdf((ALLOWED - away) / U) - norm.cdf((-ALLOWED - away) / U))


def test_the_program_s_guard_band_is_that_of_iso_14253():
    assert pytest.approx(0.83 * 2, abs=0.02) == GUARD_U
    assert norm.sf(GUARD_U) < 0.05
    assert norm.sf(2.0) < 0.025


@pytest.mark.parametrize("away", [0.0, 0.02, 0.0334, 0.0336, 0.045, 0.055, 0.0664, 0.0666, 0.09])
def test_in_and_out_are_said_only_where_they_are_sure_to_nineteen_of_twenty(away):
    verdict = Limit(away, ALLOWED, U).verdict
    sure_in, sure_out = conforms(away) >= 0.95, conforms(away) <= 0.05
    assert verdict == (IN if sure_in else OUT if sure_out else CANNOT_TELL)


def test_a_diode_that_conforms_with_0_92_is_not_said_to_be_in():
    # how far from a target of -6.00 V, allowed 0.60 V: the limit is -5.40 V
    limit = Limit(-5.47 + 6.00, 0.60, 0.05)
    assert norm.cdf((limit.allowed_mm - limit.away_mm) / limit.u_mm) == pytest.approx(
        0.92, abs=0.005
    )
    assert limit.verdict == CANNOT_TELL
    assert Limit(-5.49 + 6.00, 0.60, 0.05).verdict == IN
