"""A sentence a player and a metrologist both accept."""

import pytest

from app.core.facing.rail_words import describe_rail, runs_backwards
from app.core.facing.rails import judge_rail
from app.core.values.readings import BladeStop, Uncertainties
from tests.core.facing.test_rails import FOUR_MM, LOOSE_TIP, TRADE, judge, on_curve


def test_an_arc_whose_tip_stands_inside_it():
    assert describe_rail(judge(TRADE, LOOSE_TIP)) == (
        "The rails follow a circular arc of radius 214 ± 14 mm and meet the table 22.2 ± 0.5 mm "
        "from the tip (the break point); the tip stands 0.10 ± 0.04 mm inside that curve (closer "
        "than it points)."
    )


def test_one_rail_is_spoken_of_as_one():
    words = describe_rail(judge(TRADE), "left rail")
    assert words.startswith("The left rail follows a circular arc")
    assert "and meets the table" in words
    assert words.endswith("(the break point).")


def test_a_tip_that_agrees_lies_on_the_curve():
    stops, tip = on_curve("arc")
    assert "; the tip lies on that curve, within ± 0.04 mm." in describe_rail(
        judge(stops, (tip, 0.01))
    )


@pytest.mark.parametrize(
    ("key", "words"),
    [
        ("parabola", "follow a parabola and meet"),
        ("ellipse", "follow an ellipse of half axes 40.0 ± "),
        ("straight_tip", "an arc with a straight tip (radius 140 ± "),
        ("easing", "a curve that bends evenly more toward the tip"),
        ("two_arcs", "two arcs with one tangent (radius 140 ± "),
    ],
)
def test_each_curve_has_its_own_words(key, words):
    stops, _ = on_curve(key)
    read = [BladeStop(gap, number / 2) for gap, number in stops]
    sure = Uncertainties(0.001, 0.00001, 0.0001)
    assert words in describe_rail(judge_rail(read, None, sure, curves=[key]))


def test_where_nothing_fits_or_can_be_judged_it_says_so():
    spoilt = judge(list(zip(FOUR_MM, (35.5, 23.5, 20.5, 5.5), strict=True)))
    assert describe_rail(spoilt) == (
        "No plain curve fits the rails; the line is drawn freely through the readings."
    )
    assert describe_rail(judge(TRADE[:1])) == (
        "Too few readings to judge which curve the rails follow."
    )


def test_readings_written_in_reverse_are_recognised():
    backwards = judge(list(zip(FOUR_MM, (5.5, 11.5, 23.5, 35.5), strict=True)))
    assert describe_rail(backwards).startswith("A thicker blade stops nearer the tip")
    assert runs_backwards(backwards.stops)
    assert not runs_backwards(judge(TRADE).stops)
    assert not runs_backwards(judge(TRADE[:1]).stops)
