"""A sentence a player and a metrologist both accept."""

from math import ceil, floor

import pytest

from app.core.facing.fits import OUTSIDE, UNCLEAR
from app.core.facing.rail_words import (
    USEFUL_BREAK_MM,
    USEFUL_TIP_MM,
    describe_rail,
    runs_backwards,
    say_break,
)
from app.core.facing.rails import judge_rail
from app.core.values.readings import BladeStop, Uncertainties
from tests.core.facing.test_rails import FOUR_MM, LOOSE_TIP, TRADE, U, judge, on_curve


def test_an_arc_whose_tip_stands_inside_it():
    assert describe_rail(judge(TRADE, LOOSE_TIP)) == (
        "A circular arc fits the rails (radius 214 ± 14 mm); the break point lies between 21.0 and "
        "22.7 mm from the tip; the tip stands 0.10 ± 0.04 mm inside that curve (closer than it "
        "points)."
    )


def test_the_printed_break_is_the_span_of_all_that_fit_rounded_outwards():
    rail = judge(TRADE)
    low, high = rail.break_span_mm
    assert say_break(rail, "{} {}") == f"{floor(10 * low) / 10:.1f} {ceil(10 * high) / 10:.1f}"
    wide = judge_rail(
        [BladeStop(gap, number / 2) for gap, number in TRADE], None, Uncertainties(0.6)
    )
    assert wide.break_span_mm[1] - wide.break_span_mm[0] > USEFUL_BREAK_MM
    assert "where the break point lies, these readings don’t tell" in describe_rail(wide)
    assert "±" not in describe_rail(wide).partition(";")[2]


def test_a_tip_stands_off_only_where_it_stands_off_every_curve_that_fits():
    between = judge(TRADE, (1.10, 0.01))
    assert abs(between.tip_offset_mm) > 2 * between.tip_offset_u_mm
    assert between.tip_stands == UNCLEAR
    assert describe_rail(between).endswith(
        "how the tip stands to all the curves that fit can’t be told."
    )
    assert judge(TRADE, (1.30, 0.01)).tip_stands == OUTSIDE


def test_a_tip_told_no_better_than_a_guess_is_not_spoken_of():
    loose = judge_rail([BladeStop(gap, number / 2) for gap, number in TRADE[:3]], (1.06, 0.15), U)
    assert loose.tip_offset_u_mm > USEFUL_TIP_MM / 2
    assert "tip stands" not in describe_rail(loose)
    assert "tip lies" not in describe_rail(loose)


def test_one_rail_is_spoken_of_as_one():
    words = describe_rail(judge(TRADE), "left rail")
    assert words.startswith("A circular arc fits the left rail (radius ")
    assert words.endswith(" mm from the tip.")


def test_a_tip_that_agrees_lies_on_the_curve():
    stops, tip = on_curve("arc")
    assert "; the tip lies on that curve, within ± 0.04 mm." in describe_rail(
        judge(stops, (tip, 0.01))
    )


@pytest.mark.parametrize(
    ("key", "words"),
    [
        ("parabola", "A parabola fits the rails; the break point lies "),
        ("ellipse", "An ellipse fits the rails (half-length 40.0 ± "),
        ("straight_tip", "An arc with a straight tip fits the rails (radius 140 ± "),
        ("easing", "A curve that bends evenly more toward the tip fits"),
        ("two_arcs", "Two arcs with one tangent fit the rails (radius 140 ± "),
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
        "Too few readings to judge which curve fits the rails."
    )


def test_readings_written_in_reverse_are_recognised():
    backwards = judge(list(zip(FOUR_MM, (5.5, 11.5, 23.5, 35.5), strict=True)))
    assert describe_rail(backwards).startswith("A thicker blade stops nearer the tip")
    assert runs_backwards(backwards.stops)
    assert not runs_backwards(judge(TRADE).stops)
    assert not runs_backwards(judge(TRADE[:1]).stops)
