"""Eₙ, the number of ISO 13528 and ISO/IEC 17043: (x − X) / √(U² + U_ref²), U with k = 2.

The form is from memory (the standards were not opened): |Eₙ| ≤ 1 is satisfactory. The values
were worked by hand.
"""

import math

import pytest

from app.core.compare.comparison import compare
from app.core.compare.differences import take_facing
from app.core.values.readings import BladeStop, FacingReadings, Uncertainties


@pytest.mark.parametrize(
    ("difference", "u_one", "u_other", "en"),
    [(0.5, 0.3, 0.4, 1.0), (-0.25, 0.3, 0.4, 0.5), (0.0, 0.1, 0.1, 0.0), (1.3, 0.5, 1.2, 1.0)],
)
def test_the_form(difference, u_one, u_other, en):
    """The expanded uncertainties are those of the two readings."""
    before = FacingReadings(tip_opening_mm=2.0, tip_u_mm=u_one / 2)
    after = FacingReadings(tip_opening_mm=2.0 + difference, tip_u_mm=u_other / 2)
    (tip,) = compare(take_facing(before), take_facing(after)).changes
    assert tip.en == pytest.approx(en)


def test_stops_and_tip_with_the_usual_uncertainties():
    before = FacingReadings((BladeStop(0.254, 12.0),), (), 1.05)
    after = FacingReadings((BladeStop(0.254, 12.3),), (), 1.08)
    usual = Uncertainties(0.15, 0.003, 0.01)
    position, tip, _ = compare(take_facing(before, usual), take_facing(after, usual)).changes
    assert position.en == pytest.approx(0.3 / math.hypot(0.3, 0.3))
    assert tip.en == pytest.approx(0.03 / math.hypot(0.02, 0.02))
    assert tip.expanded_uncertainty == pytest.approx(math.hypot(0.02, 0.02))
    assert (position.changed, tip.changed) == (False, True)
