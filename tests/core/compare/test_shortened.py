"""A shortened tip takes every number with it: on the table the curve stands where it stood."""

from math import sqrt

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.core.compare.card_front import list_figures
from app.core.compare.cards import build_measured_part
from app.core.compare.comparison import compare
from app.core.compare.differences import shorten_set, take_facing
from app.core.values.readings import BladeStop, FacingReadings
from app.core.values.units import SCALES
from tests.core.compare.test_cards import GAUGES

BLADES_MM = (0.8636, 0.6096, 0.254, 0.0381)
RADIUS_MM, BREAK_MM = 211.0, 21.7


def arc(shortened_mm=0.0, step_mm=0.0):
    """Read one arc of our own from its tip, or from where the tip is once it was shortened."""
    stops = [BREAK_MM - sqrt(2 * RADIUS_MM * gap - gap**2) - shortened_mm for gap in BLADES_MM]
    if step_mm:
        stops = [round(one / step_mm) * step_mm for one in stops]
    rail = tuple(BladeStop(*one) for one in zip(BLADES_MM, stops, strict=True))
    tip = RADIUS_MM - sqrt(RADIUS_MM**2 - (BREAK_MM - shortened_mm) ** 2)
    return FacingReadings(rail, rail, round(tip, 2))


@settings(deadline=None)
@given(st.floats(0.1, 1.5))
def test_the_same_curve_read_from_a_shorter_tip_has_not_moved(by_mm):
    before, after = take_facing(arc()), take_facing(arc(by_mm))
    carried = compare(shorten_set(before, by_mm), after)
    assert {one.quantity for one in carried.told} <= {"tip_opening"}
    stops = [one for one in carried.changes if one.quantity == "position"]
    assert max(abs(one.difference) for one in stops) < 1e-9


def test_without_it_the_same_two_sets_would_be_called_moved():
    before, after = take_facing(arc()), take_facing(arc(1.0))
    assert {"position", "facing_length"} <= {one.quantity for one in compare(before, after).told}


def test_what_came_off_with_the_tip_is_no_longer_a_stop():
    carried = shorten_set(take_facing(arc()), 6.0)
    assert len(carried.facing.left) < 4
    assert carried.facing.tip_opening_mm is None
    assert [one.quantity for one in carried.readings].count("tip") == 1
    assert shorten_set(carried, 0.0) is carried


@pytest.mark.parametrize(
    ("more_mm", "words"),
    [
        (0.0, "the curve stands where it stood, as far as can be measured."),
        (2.0, "on the table the facing is longer than it came."),
    ],
)
def test_the_card_says_what_came_off_and_whether_the_curve_moved(more_mm, words):
    before, after = arc(step_mm=0.25), arc(0.6 - more_mm, step_mm=0.25)
    part = build_measured_part(
        take_facing(before), take_facing(after), GAUGES, 0.5, shortened_mm=0.6
    )
    figures = list_figures(before, after, part.told, part.rails, SCALES["tip_mm"])
    length = next(one for one in figures if one.label == "Facing length")
    assert length.sentence == f"0.6 mm came off the tip; {words}"
    changes = {row.change_left for row in part.rows}
    assert (changes == {"="}) == (more_mm == 0.0)


@pytest.mark.parametrize("moved_mm", [0.0, 0.75])
def test_a_tip_that_is_closer_for_being_shorter_is_no_further_change(moved_mm):
    def read(numbers, tip):
        pairs = zip(BLADES_MM, reversed(numbers), strict=True)
        rail = tuple(BladeStop(gap, number / 2) for gap, number in pairs)
        return take_facing(FacingReadings(rail, rail, tip))

    before = read((34.5, 22.5, 13.5, 7.5), 1.12)
    after = read((33.5, 21.5, 12.5 + 2 * moved_mm, 6.5 + 2 * moved_mm), 1.05)
    part = build_measured_part(before, after, GAUGES, 0.5, shortened_mm=0.5)
    figures = list_figures(before.facing, after.facing, part.told, part.rails, SCALES["tip_mm"])
    sentence = next(one.sentence for one in figures if one.label == "Facing length")
    assert ("more has changed" in sentence) == bool(moved_mm)
    assert ("stands where it stood" in sentence) == (not moved_mm)
