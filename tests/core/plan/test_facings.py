"""Targets: plain curves through two points, blade sheets with tolerances, evening up."""

import math
from dataclasses import replace

import numpy as np
import pytest

from app.core.facing.analysis import MalformedReading
from app.core.facing.curves import CURVES
from app.core.plan.facings import (
    SHAPES,
    THINNEST_MM,
    FacingTolerance,
    PlainFacing,
    even_up,
    find_shape,
    place_blades,
    solve_facing,
)
from app.core.values.readings import BladeStop, FacingReadings
from tests.core.planning import BLADES_MM, arc_stops, read_numbers


def test_every_curve_of_the_table_can_be_a_target() -> None:
    assert set(SHAPES) == set(CURVES)


@pytest.mark.parametrize("curve", SHAPES)
@pytest.mark.parametrize("length", [13.0, 18.0, 24.0, 30.0])
@pytest.mark.parametrize("tip", [0.5, 1.1, 2.4, 4.0])
def test_a_plain_facing_goes_through_its_two_points(curve: str, length: float, tip: float) -> None:
    solved = solve_facing(PlainFacing(length, tip, curve))
    gap = CURVES[curve].gap_at(solved.parameters, [0.0, length, solved.break_mm])
    assert gap[0] == pytest.approx(tip, abs=1e-9)
    assert gap[1] == pytest.approx(THINNEST_MM, abs=1e-9)
    assert gap[2] == pytest.approx(0.0, abs=1e-12)
    # the break lies further from the tip than the facing length: never the same number
    assert solved.break_mm > length + 1.0


@pytest.mark.parametrize("curve", [key for key, shape in SHAPES.items() if shape.label])
def test_a_shape_of_its_own_is_kept(curve: str) -> None:
    usual = solve_facing(PlainFacing(18.0, 1.1, curve))
    other = solve_facing(PlainFacing(18.0, 1.1, curve, shape=SHAPES[curve].usual * 1.2))
    middles = [float(CURVES[curve].gap_at(s.parameters, 9.0)) for s in (usual, other)]
    assert middles[0] != pytest.approx(middles[1], abs=1e-5)


def test_an_arc_agrees_with_its_own_formula_worked_by_hand() -> None:
    # R = 145 mm, tip 1.0: L = √(2·145·1 − 1) = 17; 0.0381 mm stops at 17 − √(2·145·h − h²)
    length = 17.0 - math.sqrt(2 * 145 * 0.0381 - 0.0381**2)
    solved = solve_facing(PlainFacing(length, 1.0))
    assert solved.break_mm == pytest.approx(17.0, abs=1e-9)
    assert solved.parameters["radius_mm"] == pytest.approx(145.0, abs=1e-6)


@pytest.mark.parametrize(
    ("change", "field", "words"),
    [
        ({"curve": "spline"}, "target.curve", "no curve “spline”"),
        ({"facing_length_mm": 0.0}, "target.facing_length_mm", "facing length"),
        ({"tip_opening_mm": math.nan}, "target.tip_opening_mm", "tip opening"),
        ({"length_gap_mm": -1.0}, "target.length_gap_mm", "blade"),
        ({"tip_opening_mm": 0.03}, "target.tip_opening_mm", "more than the blade"),
        ({"curve": "ellipse", "shape": 0.5}, "target.shape", "half length"),
        ({"curve": "straight_tip", "shape": 19.0}, "target.shape", "shorter than the facing"),
        ({"tip_opening_mm": 60.0}, "target", "too open"),
        ({"tip_opening_mm": 60.0, "curve": "two_arcs"}, "target", "too open"),
    ],
)
def test_a_facing_that_cannot_be_is_refused_by_field(
    change: dict[str, object], field: str, words: str
) -> None:
    with pytest.raises(MalformedReading, match=words) as refused:
        solve_facing(replace(PlainFacing(18.0, 1.1), **change))
    assert refused.value.field == field


def test_blades_stop_where_the_arc_is_as_thick_as_they_are() -> None:
    facing = PlainFacing(18.0, 1.1)
    placed = place_blades(facing, BLADES_MM)
    assert [blade.left_mm for blade in placed] == pytest.approx(arc_stops(facing), abs=1e-4)
    assert placed[0].left_mm == pytest.approx(18.0, abs=1e-6)
    assert [blade.right_mm for blade in placed] == [blade.left_mm for blade in placed]
    assert (placed[0].low_mm, placed[0].high_mm) == (None, None)


def test_a_blade_thicker_than_the_opening_does_not_go_in() -> None:
    (blade,) = place_blades(PlainFacing(18.0, 1.1), [1.27], FacingTolerance(0.25, None, 0.02))
    assert (blade.left_mm, blade.right_mm, blade.low_mm) == (None, None, None)


def test_a_target_by_readings_says_what_was_read_and_draws_other_blades_between() -> None:
    target = read_numbers([35.5, 23.5, 13.5, 6.5], 1.13, [34.5, 23.5, 13.5, 6.5])
    placed = place_blades(target, [*BLADES_MM, 0.127])
    by_gap = {blade.gap_mm: blade for blade in placed}
    assert by_gap[BLADES_MM[0]].left_mm == 17.75
    assert by_gap[BLADES_MM[0]].right_mm == 17.25
    assert 11.75 < by_gap[0.127].left_mm < 17.75


def test_the_narrower_tolerance_counts() -> None:
    facing = PlainFacing(18.0, 1.1)
    along = place_blades(facing, BLADES_MM, FacingTolerance(position_mm=0.25))
    assert [b.high_mm - b.low_mm for b in along] == pytest.approx([0.5] * 4)
    gap = place_blades(facing, BLADES_MM, FacingTolerance(gap_mm=0.01))
    widths = [b.high_mm - b.low_mm for b in gap]
    # a hundredth of gap is far more along the glass where the rail is nearly flat
    assert widths == sorted(widths, reverse=True)
    both = place_blades(facing, BLADES_MM, FacingTolerance(position_mm=0.25, gap_mm=0.01))
    assert [b.high_mm - b.low_mm for b in both] == pytest.approx(
        [min(0.5, width) for width in widths], abs=0.05
    )


def test_evening_up_takes_the_more_open_rail_blade_by_blade() -> None:
    now = read_numbers([33.5, 21.5, 11.5, 5.5], 1.05, [32.5, 22.5, 11.5, 4.5])
    target = even_up(now)
    assert [stop.position_mm for stop in target.left] == [16.75, 11.25, 5.75, 2.75]
    assert target.left == target.right
    assert target.tip_opening_mm == 1.05
    with pytest.raises(ValueError, match="both rails"):
        even_up(FacingReadings((BladeStop(0.0381, 17.0),), ()))


def test_target_positions_move_out_with_the_opening() -> None:
    for tip in np.linspace(0.9, 1.5, 4):
        closer = place_blades(PlainFacing(18.0, tip), BLADES_MM)
        opener = place_blades(PlainFacing(18.0, tip + 0.1), BLADES_MM)
        assert all(a.left_mm <= b.left_mm + 1e-6 for a, b in zip(closer, opener, strict=True))


@pytest.mark.parametrize("curve", [key for key, one in SHAPES.items() if one.label])
def test_a_third_point_picks_the_curve_that_passes_it(curve: str) -> None:
    for number in (1.3, 2.5):
        facing = PlainFacing(17.5, 1.1, curve, shape=number)
        (placed,) = place_blades(facing, [BLADES_MM[2]])
        found = find_shape(replace(facing, shape=None), BLADES_MM[2], placed.left_mm)
        (again,) = place_blades(replace(facing, shape=found), [BLADES_MM[2]])
        assert again.left_mm == pytest.approx(placed.left_mm, abs=0.01)


def test_a_third_point_no_such_curve_passes_is_refused_with_where_it_could_be() -> None:
    with pytest.raises(MalformedReading, match=r"it can stop from \d+\.\d mm to \d+\.\d mm"):
        find_shape(PlainFacing(17.5, 1.1, "ellipse"), BLADES_MM[2], 1.0)
    with pytest.raises(MalformedReading, match="Length and tip opening fix a circular arc"):
        find_shape(PlainFacing(17.5, 1.1), BLADES_MM[2], 6.0)
