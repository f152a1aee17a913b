"""Eₙ, the number of ISO 13528 and ISO/IEC 17043: (x − X) / √(U² + U_ref²), U with k = 2.

The form is from memory (the standards were not opened): |Eₙ| ≤ 1 is satisfactory. The values
were worked by hand.
"""

import math

import pytest

from app.core.compare.comparison import compare_facings
from app.core.values.readings import BladeStop, FacingReadings, Uncertainties
from app.core.values.uncertainty import en_number, expanded


@pytest.mark.parametrize(
    ("difference", "u_one", "u_other", "en"),
    [(0.5, 0.3, 0.4, 1.0), (-0.25, 0.3, 0.4, 0.5), (0.0, 0.1, 0.1, 0.0), (1.3, 0.5, 1.2, 1.0)],
)
def test_the_form(difference, u_one, u_other, en):
    assert en_number(difference, u_one, u_other) == pytest.approx(en)


def test_the_comparison_gives_the_same_number():
    before = FacingReadings((BladeStop(0.254, 12.0),), (), 1.05)
    after = FacingReadings((BladeStop(0.254, 12.3),), (), 1.08)
    changes = compare_facings(before, after, Uncertainties(0.15, 0.003, 0.01))
    position, tip = changes[0], changes[1]
    assert position.en == pytest.approx(en_number(0.3, expanded(0.15), expanded(0.15)))
    assert tip.en == pytest.approx(en_number(0.03, expanded(0.01), expanded(0.01)))
    assert tip.expanded_uncertainty == pytest.approx(math.hypot(0.02, 0.02))
    assert (position.changed, tip.changed) == (False, True)
