"""The plan as the page prints it: lines, tables and figures in the shop's own numbers."""

import pytest

from app.core.plan.facings import PlainFacing, even_up
from app.core.plan.plan import plan_removal
from app.core.plan.plan_tables import (
    CutRow,
    list_check_rows,
    list_cut_rows,
    list_figures,
    list_steps,
    list_worked_rails,
    rails_alike,
)
from app.core.plan.plan_values import PlanRequest
from app.core.plan.shown import Showing, write_shown
from app.core.values.readings import FacingReadings
from app.core.values.units import SCALES
from tests.core.plan.test_targets import GAUGES
from tests.core.planning import CLOSE, OPEN, read_numbers
from tests.lines import CLOSE_LINE, OPEN_LINE

GLASS = SCALES["glass_half_mm"]
SHOWING = Showing(GAUGES)


def test_the_steps_of_the_way_back_each_end_with_a_line_to_read():
    plan = plan_removal(PlanRequest(OPEN, CLOSE))
    steps = list_steps(plan, SHOWING)
    assert [step.heading for step in steps] == ["Table first", "Rails", "Check"]
    after_table = steps[0].line.split()
    # flat on the plate closes the facing: every blade stops nearer the tip than it did
    assert all(
        float(new) < old for new, old in zip(after_table[:4], (35.5, 23.5, 13.5, 6.5), strict=True)
    )
    assert after_table[5] == "1.05"
    assert steps[1].line == CLOSE_LINE


def test_every_blade_has_its_numbers_in_the_shops_order_and_the_tip_comes_last():
    request = PlanRequest(CLOSE, OPEN)
    rows = list_check_rows(plan_removal(request), CLOSE, SHOWING)
    assert [row.blade for row in rows] == [
        "0.0015 in", "0.010 in", "0.024 in", "0.034 in", "Tip opening",
    ]  # fmt: skip
    assert (rows[0].now, rows[0].after_rails, rows[0].target) == ("33.5", "35.5", "35.5")
    assert (rows[4].now, rows[4].target) == ("1.05", "1.13")


def test_what_comes_off_is_told_at_glass_numbers_in_hundredths():
    plan = plan_removal(PlanRequest(CLOSE, OPEN))
    rows = list_cut_rows(plan, GLASS)
    assert rows[0] == CutRow("0 (tip)", "8", "8")
    assert [row.number for row in rows[1:4]] == ["5", "10", "15"]
    by_station = {one.position_mm: one.cut_mm for one in plan.left}
    assert rows[2].left == f"{by_station[5.0] * 100:.0f}"
    assert list_cut_rows(plan_removal(PlanRequest(OPEN, OPEN)), GLASS) == ()


def test_one_picture_serves_rails_that_lose_the_same_and_none_a_rail_left_alone():
    assert rails_alike(plan_removal(PlanRequest(CLOSE, OPEN)))
    uneven = read_numbers([33.5, 21.5, 11.5, 5.5], 1.05, [32.5, 20.5, 10.5, 4.5])
    plan = plan_removal(PlanRequest(uneven, even_up(uneven)))
    assert not rails_alike(plan)
    assert list_worked_rails(plan) == ["right"]
    assert list_worked_rails(plan_removal(PlanRequest(OPEN, CLOSE))) == ["left", "right"]


def test_figures_say_at_least_and_at_most_and_what_the_tolerance_saves():
    figures = {
        one.label: one for one in list_figures(plan_removal(PlanRequest(CLOSE, OPEN)), SHOWING)
    }
    assert figures["Off the table"].value == "nothing"
    assert "The tolerance saves" not in figures
    back = plan_removal(
        PlanRequest(OPEN, CLOSE, tolerance_mm=0.03, tip_slope_deg=45.0, beak_slope_deg=20.0)
    )
    figures = {one.label: one for one in list_figures(back, SHOWING)}
    assert figures["Off the table"].note.startswith("at least 0.0")
    assert figures["The tolerance saves"].value == "0.03 mm"
    # nothing is cut, so it is what stands
    assert figures["The rails alone would reach"].value == OPEN_LINE
    assert {"Tip rail wider by", "Piece shorter by"} <= set(figures)


@pytest.mark.parametrize(
    ("facing", "line"),
    [
        (
            read_numbers([33.5, 21.5, 11.5, 5.5], 1.05, [32.5, 21.5, 11.5, 5.5]),
            "33.5/32.5 21.5 11.5 5.5 / 1.05",
        ),
        (FacingReadings(CLOSE.left, (), None), "33.5 21.5 11.5 5.5"),
        (FacingReadings((), CLOSE.right, 1.03), "33.5 21.5 11.5 5.5 / 1.03"),
    ],
)
def test_expected_readings_are_written_like_a_notebooks_line(facing, line):
    assert write_shown(SHOWING.show(facing), GAUGES) == line


def test_one_rail_is_told_alone_and_a_blade_that_stays_out_is_a_dash():
    now = FacingReadings(CLOSE.left, (), 1.05)
    request = PlanRequest(now, PlainFacing(18.0, 1.25), length_gap_mm=1.5)
    plan = plan_removal(request)
    rows = list_check_rows(plan, now, SHOWING)
    assert rows[-2].target == "–"
    assert all(row.right == "" for row in list_cut_rows(plan, GLASS))
    assert list_worked_rails(plan) == ["left"]
