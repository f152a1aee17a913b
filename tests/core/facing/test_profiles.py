"""Lines to draw: plain curves as points, and the free curve through readings."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.core.facing.profiles import free_curve, trace_curve
from app.core.values.readings import BladeStop
from tests.core.facing.test_curves import EVERY_CURVE, USUAL

TRADE = tuple(map(BladeStop, (0.0381, 0.254, 0.6096, 0.8636), (18.0, 12.0, 6.0, 3.0)))


@EVERY_CURVE
def test_a_traced_curve_falls_from_the_tip_to_nothing_at_the_break(key):
    s = np.linspace(0.0, 30.0, 301)
    gap = trace_curve(key, USUAL[key], s)
    assert (np.diff(gap) <= 0).all()
    assert (gap[s >= USUAL[key]["break_mm"]] == 0.0).all()


def test_the_free_curve_goes_through_every_reading_and_the_tip():
    line = free_curve(TRADE, 1.06)
    assert line.gap_at([stop.position_mm for stop in TRADE]) == pytest.approx(
        [stop.gap_mm for stop in TRADE]
    )
    assert float(line.gap_at(0.0)) == pytest.approx(1.06)
    assert (line.start_mm, line.end_mm) == (0.0, 18.0)
    assert line.break_mm > 18.0
    assert (line.gap_at([line.break_mm, 40.0]) == 0.0).all()


def test_an_exact_arc_is_followed_closely_between_its_readings():
    """√h of an arc is nearly straight, so the free curve needs few readings to follow it."""
    arc = USUAL["arc"]
    gaps = [0.0381, 0.127, 0.254, 0.4064, 0.6096, 0.8636]
    stops = [
        BladeStop(gap, 22.2 - float(np.sqrt(2 * arc["radius_mm"] * gap - gap**2))) for gap in gaps
    ]
    tip = float(trace_curve("arc", arc, 0.0))
    s = np.linspace(0.0, 22.0, 200)
    line = free_curve(stops, tip)
    assert np.abs(line.gap_at(s) - trace_curve("arc", arc, s)).max() < 0.001
    assert line.break_mm == pytest.approx(22.2, abs=0.01)


def test_it_starts_at_the_first_reading_where_there_is_no_tip():
    line = free_curve(TRADE)
    assert line.start_mm == 3.0
    assert np.isnan(line.gap_at(1.0))
    assert np.isnan(line.position_of(1.0))


def test_position_and_gap_are_each_others_inverse():
    line = free_curve(TRADE, 1.06)
    gaps = np.linspace(1e-6, 1.06, 50)
    assert line.gap_at(line.position_of(gaps)) == pytest.approx(gaps, abs=1e-9)
    slope = line.slope_at_gap(0.4)
    s = float(line.position_of(0.4))
    by_hand = float(line.gap_at(s - 1e-5) - line.gap_at(s + 1e-5)) / 2e-5
    assert slope == pytest.approx(by_hand, rel=1e-5)
    assert line.slope_at_gap(2.0) is None


@pytest.mark.parametrize(
    "stops", [(), TRADE[:1], (TRADE[0], TRADE[0]), (TRADE[0], BladeStop(0.254, 18.0))]
)
def test_one_place_makes_no_line(stops):
    assert free_curve(stops) is None


def test_two_places_make_a_straight_line_of_roots():
    line = free_curve(TRADE[:1], 1.0)
    assert float(line.gap_at(9.0)) == pytest.approx(((1.0 + 0.0381**0.5) / 2) ** 2)


def test_readings_that_contradict_each_other_are_passed_between():
    crossed = (BladeStop(0.0381, 12.0), BladeStop(0.254, 14.0), BladeStop(0.8636, 4.0))
    line = free_curve(crossed, 1.1)
    assert (np.diff(line.gap_at(np.linspace(0, 14, 99))) <= 1e-12).all()


stops_of = st.lists(
    st.builds(BladeStop, st.floats(1e-3, 2.0), st.floats(0.0, 40.0)), min_size=0, max_size=8
)


@settings(deadline=None, max_examples=150)
@given(stops_of, st.none() | st.floats(0.2, 4.0))
def test_whatever_is_read_the_free_curve_never_overshoots_or_rises(stops, tip):
    line = free_curve(stops, tip)
    if line is None:
        return
    s = np.linspace(line.start_mm, line.end_mm, 300)
    gap = line.gap_at(s)
    told = [stop.gap_mm for stop in stops] + ([tip] if tip is not None else [])
    assert np.isfinite(gap).all()
    assert (np.diff(gap) <= 1e-9).all()
    assert gap.max() <= max(told) + 1e-9
    assert gap.min() >= min(told) - 1e-9
