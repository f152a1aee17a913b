"""The arithmetic of cuts on bare arrays."""

import numpy as np
import pytest

from app.core.plan.cuts import NO_CUT, allow_tail, cut_rail, find_least_table, lower_gap

STATIONS = np.linspace(0.0, 40.0, 401)


def test_nothing_in_excess_needs_no_table() -> None:
    assert find_least_table(STATIONS, -0.01 + 0 * STATIONS, 22.0, 40.0, 0.01) is NO_CUT
    # less than a tenth of a micrometre is rounding
    assert find_least_table(STATIONS, 5e-5 + 0 * STATIONS, 22.0, 40.0) is NO_CUT


def test_without_a_tilt_the_table_loses_the_greatest_excess() -> None:
    excess = 0.08 - 0.002 * (STATIONS - 6.0) ** 2
    cut = find_least_table(STATIONS, excess, 22.0, 40.0)
    assert (cut.at_tip_mm, cut.per_mm) == (pytest.approx(0.08, abs=1e-9), 0.0)


def test_a_tilt_spares_the_far_end() -> None:
    excess = np.where(STATIONS < 1.0, 0.08, 0.0)
    cut = find_least_table(STATIONS, excess, 22.0, 40.0, tilt_limit_mm_per_mm=0.01)
    # the plane through (0.9, 0.08) and (40, 0): any steeper would rise off the table's end
    assert cut.at(0.9) == pytest.approx(0.08, abs=1e-6)
    assert cut.at(40.0) == pytest.approx(0.0, abs=1e-6)


def test_a_table_cut_never_rises_out_of_the_table() -> None:
    excess = np.where(STATIONS > 10.0, 0.0, 0.3)
    cut = find_least_table(STATIONS, excess, 22.0, 40.0, tilt_limit_mm_per_mm=1.0)
    assert (cut.along(STATIONS) >= 0.0).all()
    assert (cut.along(STATIONS) >= excess - 1e-12).all()


def test_lowering_stops_at_the_plane_and_rails_are_never_built_up() -> None:
    now, target = np.array([1.0, 0.03, 0.0]), np.array([0.9, 0.01, 0.0])
    lowered = lower_gap(now, np.full(3, 0.05))
    assert lowered == pytest.approx([0.95, 0.0, 0.0])
    assert cut_rail(lowered, target) == pytest.approx([0.0, 0.01, 0.0])


def test_beyond_the_facing_length_a_rail_may_fade_as_it_does() -> None:
    target = np.maximum(0.0, 0.0381 * (1 - (STATIONS - 18.0) / 3.0))
    allowed = allow_tail(STATIONS, target, 18.0, 0.0381, 23.0)
    assert np.array_equal(allowed[STATIONS < 18.0], target[STATIONS < 18.0])
    beyond = allowed[STATIONS > 18.0]
    assert (beyond <= 0.0381).all()
    assert (np.diff(beyond) <= 1e-12).all()
    assert allowed[STATIONS >= 23.0] == pytest.approx(0.0)
    # a tail already longer than both breaks leaves nothing to allow
    assert allow_tail(STATIONS, target, 18.0, 0.0381, 18.0) is target
