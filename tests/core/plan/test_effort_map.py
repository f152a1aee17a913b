"""Which tips and lengths close a reed as the piece does now."""

from dataclasses import replace

import numpy as np
import pytest

from app.core.compare.beams import find_effort
from app.core.facing.analysis import MalformedReading
from app.core.plan.effort_map import (
    LENGTH,
    TIP,
    EffortQuestion,
    find_alike,
    list_alike,
    map_effort,
    rank_lays,
)
from app.core.plan.facings import PlainFacing, draw_facing
from app.core.values.readings import BladeStop, FacingReadings, Uncertainties
from app.core.values.units import SCALES
from app.render.effort_map import EffortPicture, draw_effort_map

BLADES = (0.0381, 0.254, 0.6096, 0.8636)
NOW, TARGET = (1.04, 16.8), (1.13, 17.6)
STATIONS = np.linspace(0.0, 60.0, 601)


def arc(tip, length):
    return draw_facing(PlainFacing(length, tip), STATIONS)


def ask(target=PlainFacing(TARGET[1], TARGET[0]), tip=NOW[0]):  # noqa: B008 - frozen
    rail = tuple(BladeStop(gap, arc(*NOW).stop(gap)) for gap in BLADES)
    return EffortQuestion(FacingReadings(rail, rail, tip), target, "clarinet_bb", Uncertainties())


def at(told, rows, tip, length):
    column = [np.interp(tip, told.tips_mm, row) for row in rows]
    return float(np.interp(length, told.lengths_mm, column))


def test_the_map_says_what_each_lay_s_effort_is_worked_out_to_be():
    told = map_effort(ask())
    assert at(told, told.percent, *NOW) == pytest.approx(0.0, abs=0.05)
    for lay in (TARGET, (1.2, 16.4), (1.0, 18.5)):
        worked = find_effort(arc(*lay), "clarinet_bb") / find_effort(arc(*NOW), "clarinet_bb")
        assert at(told, told.percent, *lay) == pytest.approx(100 * (worked - 1), abs=0.1)


def test_rails_alone_reach_what_is_wider_and_longer_and_nothing_closer():
    told = map_effort(ask())
    assert at(told, told.spare_mm, *TARGET) >= 0.0
    assert at(told, told.spare_mm, 1.0, 16.8) < 0.0
    assert at(told, told.spare_mm, 1.04, 16.0) < 0.0


def test_the_lay_now_is_in_reach_though_its_tip_stands_off_the_rails_curve():
    asked = ask(tip=1.11)
    rail = asked.now.left
    told = map_effort(asked)
    assert at(told, told.percent, *told.now) == pytest.approx(0.0, abs=0.05)
    for tip, length in (told.now, (1.16, 17.3), (1.11, 18.0)):
        assert at(told, told.spare_mm, tip, length) >= 0.0
    longer = tuple(replace(stop, position_mm=stop.position_mm + 0.8) for stop in rail)
    told = map_effort(replace(asked, now=FacingReadings(rail, longer, 1.11)))
    assert at(told, told.spare_mm, *told.now) < 0.0  # made alike, one rail would have to rise
    assert at(told, told.spare_mm, 1.2, 18.2) >= 0.0


def test_more_open_and_no_harder_is_a_length_that_closes_as_now():
    length, low, high = find_alike(ask(), 1.13, TIP)
    assert NOW[1] < low < length < high
    as_now = find_effort(arc(*NOW), "clarinet_bb")
    assert find_effort(arc(1.13, length), "clarinet_bb") == pytest.approx(as_now, rel=1e-3)
    tip, low, high = find_alike(ask(), length, LENGTH)
    assert tip == pytest.approx(1.13, abs=1e-3)
    assert low < tip < high


def test_the_table_asks_once_for_the_target_and_not_where_it_stands_as_now():
    glass = SCALES["glass_half_mm"]
    given = [one.given for one in list_alike(ask(), glass)]
    assert given == [
        "tip 1.09 mm", "tip 1.13 mm, as the target", "tip 1.14 mm",
        "length 17.3 mm (34.6 on the glass)", "length 17.6 mm (35.2 on the glass), as the target",
        "length 17.8 mm (35.6 on the glass)",
    ]  # fmt: skip
    given = [one.given for one in list_alike(ask(PlainFacing(17.8, 1.04)), glass)]
    assert given == [
        "tip 1.09 mm", "tip 1.14 mm",
        "length 17.3 mm (34.6 on the glass)", "length 17.8 mm (35.6 on the glass), as the target",
    ]  # fmt: skip


def test_a_lay_without_a_tip_has_no_place_on_the_map():
    with pytest.raises(MalformedReading):
        map_effort(ask(tip=None))
    with pytest.raises(MalformedReading):
        list_alike(ask(tip=None), SCALES["glass_half_mm"])


@pytest.mark.parametrize("target", [None, PlainFacing(17.6, 1.13)])
@pytest.mark.parametrize("size", ["screen", "small"])
def test_the_map_is_drawn_the_same_each_time(target, size):
    picture = EffortPicture(map_effort(ask(target)), size=size)
    first = draw_effort_map(picture)
    assert first.startswith(b"<?xml")
    assert draw_effort_map(picture) == first


def test_a_lay_that_is_no_arc_is_drawn_out_as_it_is():
    lay = draw_facing(PlainFacing(16.8, 1.04, "easing", shape=0.2), STATIONS)
    rail = tuple(BladeStop(gap, lay.stop(gap)) for gap in BLADES)
    sure = Uncertainties(position_mm=0.01, gap_mm=0.0005, tip_mm=0.001)
    now = FacingReadings(rail, rail, 1.04)
    told = map_effort(EffortQuestion(now, None, "clarinet_bb", sure))
    assert at(told, told.percent, *told.now) == pytest.approx(0.0, abs=0.05)
    assert at(told, told.percent, 1.10, 16.8) > 1.0
    assert at(told, told.percent, 1.04, 17.8) < -1.0
    assert at(told, told.spare_mm, 1.08, 17.5) >= 0.0
    assert at(told, told.spare_mm, 0.99, 16.8) < 0.0


def rank(*lays):
    return rank_lays(lays, "clarinet_bb", Uncertainties(), 0.0381)


def test_lays_stand_as_they_close_with_limits_beside_the_easiest():
    lays = PlainFacing(17.3, 1.21), PlainFacing(17.3, 1.03), PlainFacing(17.6, 1.05)
    without_tip = replace(ask().now, tip_opening_mm=None)
    ranked = rank(*lays, without_tip)
    assert [at for at, _ in ranked] == [1, 2, 0]
    easiest, like, wide = (found for _, found in ranked)
    assert easiest.ratio == 1.0
    assert like.low < 1.0 < like.high
    true = find_effort(arc(1.21, 17.3), "clarinet_bb") / find_effort(arc(1.03, 17.3), "clarinet_bb")
    assert wide.ratio == pytest.approx(true, rel=1e-6)
    assert 1.1 < wide.low < true < wide.high


def test_a_lay_of_another_curve_holds_how_that_one_closes_within_its_limits():
    (_, _), (_, eased) = rank(PlainFacing(17.3, 1.03), PlainFacing(17.3, 1.11, "easing", shape=0.3))
    lay = draw_facing(PlainFacing(17.3, 1.11, "easing", shape=0.3), STATIONS)
    own = find_effort(lay, "clarinet_bb") / find_effort(arc(1.03, 17.3), "clarinet_bb")
    assert abs(own / eased.ratio - 1.0) > 0.02
    assert eased.low < own < eased.high
