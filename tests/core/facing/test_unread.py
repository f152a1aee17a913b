"""What of a rail was not read, and the blade that would tell most."""

import numpy as np
import pytest

from app.core.facing.unread import list_unread
from app.core.plan.facings import PlainFacing
from app.core.plan.plan import plan_removal
from app.core.plan.plan_tables import list_unread_words
from app.core.plan.plan_values import PlanRequest
from app.core.values.readings import FacingReadings
from app.core.values.units import SCALES
from tests.core.planning import CLOSE, OPEN, read_numbers

S = np.linspace(0.0, 40.0, 401)


def test_a_clarinets_usual_blades_leave_nothing_unread() -> None:
    assert list_unread(CLOSE.left, CLOSE.tip_opening_mm, S, 0 * S) == ()


def test_the_end_toward_the_tip_is_a_guess_where_the_thickest_blade_stops_early() -> None:
    tenor = read_numbers([52, 38, 26, 17], 2.4)
    gap = 2.4 * np.maximum(0, 1 - S / 28) ** 2
    (one,) = list_unread(tenor.left, 2.4, S, gap)
    assert (one.from_mm, one.to_mm) == (0.0, 8.5)
    # at its middle the gap is 1.73 mm: 0.070 in comes next
    assert one.blade_mm == pytest.approx(0.070 * 25.4)


def test_without_the_tip_the_part_before_the_thickest_blade_was_not_read() -> None:
    (one,) = list_unread(CLOSE.left, None, S, 0 * S + 0.9)
    assert (one.from_mm, one.to_mm) == (0.0, 2.75)


def test_the_plan_says_so_once_for_rails_that_are_alike() -> None:
    tenor = read_numbers([52, 38, 26, 17], 2.4)
    plan = plan_removal(PlanRequest(tenor, PlainFacing(27.0, 2.6), table_end_mm=60.0))
    (words,) = list_unread_words(plan, tenor, SCALES["glass_half_mm"])
    assert words.startswith("On both rails from 0 to 17 on the glass there is no reading to go by")
    assert "A blade of about 0.0" in words
    plan = plan_removal(PlanRequest(FacingReadings(CLOSE.left), OPEN))
    (words,) = list_unread_words(plan, FacingReadings(CLOSE.left), SCALES["glass_half_mm"])
    assert words.startswith("On the left rail from 0 to 5.5")
