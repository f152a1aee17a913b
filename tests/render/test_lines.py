"""From core's judgement to lines: what is drawn is what was read and what was chosen."""

import numpy as np
import pytest

from app.core.facing.analysis import analyse_facing
from app.core.facing.profiles import trace_curve
from app.core.values.readings import BladeStop, FacingReadings
from app.render.lines import overlaid_lines, profile_lines
from app.render.looks import name_of
from tests.render.cases import facing


def judged(left, right, tip_mm):
    readings = facing(left, right, tip_mm)
    return readings, analyse_facing(readings)


def test_each_rail_that_was_read_gives_a_line():
    readings, analysis = judged((35.5, 23.5, 13.5, 6.5), (34.5, 22.5, 12.5, 5.5), 1.13)
    lines = profile_lines("as returned", readings, analysis, "after")
    assert [(line.name, line.rail, line.state) for line in lines] == [
        ("as returned", "left", "after"),
        ("as returned", "right", "after"),
    ]
    assert lines[0].stops == readings.left


def test_a_set_without_a_name_leaves_its_rails_theirs():
    readings, analysis = judged((35.5, 23.5, 13.5, 6.5), (34.5, 22.5, 12.5, 5.5), 1.13)
    lines = profile_lines("", readings, analysis, "now")
    assert [name_of(line) for line in lines] == ["left", "right"]
    assert name_of(lines[0], alike=True) == "left and right alike"


def test_the_line_follows_the_chosen_curve_between_break_and_last_blade():
    readings, analysis = judged((35.5, 23.5, 11.5, 5.5), None, 1.09)
    (line,) = profile_lines("now", readings, analysis, "now")
    fit = analysis.left.fit(analysis.left.chosen)
    s_mm = np.array(line.curve_s_mm)
    under_blades = s_mm >= 2.75
    expected = trace_curve(fit.curve, fit.parameters, s_mm[under_blades])
    assert np.array(line.curve_gap_mm)[under_blades] == pytest.approx(expected, abs=1e-12)
    assert max(line.curve_s_mm) == pytest.approx(fit.parameters["break_mm"])


def test_a_tip_standing_off_is_reached_and_the_curve_points_past_it():
    readings, analysis = judged((35.5, 23.5, 11.5, 5.5), None, 1.09)
    assert not analysis.left.tip_in_fit
    (line,) = profile_lines("now", readings, analysis, "now")
    assert (line.curve_s_mm[0], line.curve_gap_mm[0]) == pytest.approx((0.0, 1.09))
    assert line.pointing_s_mm[0] == 0.0
    assert line.pointing_gap_mm[0] - 1.09 == pytest.approx(-analysis.left.tip_offset_mm)
    assert np.all(np.diff(line.curve_s_mm) > 0)
    assert np.all(np.diff(line.curve_gap_mm) <= 1e-12)


def test_a_tip_in_the_fit_leaves_nothing_to_point_at():
    radius, brk = 200.0, 21.0
    gaps = (0.0381, 0.254, 0.6096, 0.8636)
    stops = tuple(BladeStop(gap, brk - np.sqrt(2 * radius * gap - gap**2)) for gap in gaps)
    readings = FacingReadings(left=stops, tip_opening_mm=radius - np.sqrt(radius**2 - brk**2))
    (line,) = profile_lines("now", readings, analyse_facing(readings), "now")
    assert line.pointing_s_mm == ()
    assert line.curve_s_mm[0] == 0.0
    assert line.curve_gap_mm[0] == pytest.approx(readings.tip_opening_mm, abs=1e-6)


def test_without_a_tip_the_line_ends_at_the_last_blade_and_points_on():
    readings, analysis = judged((35.5, 23.5, 13.5, 6.5), None, None)
    (line,) = profile_lines("now", readings, analysis, "now")
    assert min(line.curve_s_mm) == pytest.approx(3.25)
    assert line.tip_opening_mm is None
    assert line.pointing_s_mm[0] == 0.0


def test_where_no_curve_was_chosen_the_free_curve_goes_through_the_readings():
    readings, analysis = judged((37.5, 29.5, 9.5, 7.5), None, 1.05)
    assert analysis.left.chosen is None
    (line,) = profile_lines("now", readings, analysis, "now")
    assert line.free
    for stop in readings.left:
        gap = np.interp(stop.position_mm, line.curve_s_mm, line.curve_gap_mm)
        assert gap == pytest.approx(stop.gap_mm, abs=0.02)


def test_one_blade_alone_gives_marks_and_no_curve():
    readings = FacingReadings(left=(BladeStop(0.0381, 18.0),))
    (line,) = profile_lines("now", readings, analyse_facing(readings), "now")
    assert line.stops == readings.left
    assert not line.drawn
    assert not line.free


def test_overlaid_lines_grow_lighter_with_age_and_name_a_lone_rail():
    sets = []
    for name, left, right in (
        ("2019", (33.5, 21.5, 11.5, 5.5), (33.5, 21.5, 11.5, 5.5)),
        ("2021", (34.5, 22.5, 12.5, 5.5), None),
        ("2022", (34.5, 22.5, 12.5, 5.5), (34.5, 22.5, 12.5, 5.5)),
        ("2024", (35.5, 23.5, 13.5, 6.5), (35.5, 23.5, 13.5, 6.5)),
    ):
        readings, analysis = judged(left, right, 1.05)
        sets.append((name, readings, analysis))
    lines = overlaid_lines(sets)
    assert [(line.name, line.rail, line.state) for line in lines] == [
        ("2019", None, "earlier"),
        ("2021", "left", "earlier"),
        ("2022", None, "earlier"),
        ("2024", None, "now"),
    ]
    assert [line.age for line in lines[:3]] == [1.0, 0.5, 0.0]
