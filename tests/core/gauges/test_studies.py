"""A repeatability study as typed: what is refused, and what it comes to in words."""

from datetime import date

import pytest

from app.core.gauges.studies import (
    clamp_size,
    describe_study,
    group_values,
    list_study_rows,
    parse_study,
    work_out_study,
)
from app.core.values.forms import Refused
from app.core.values.units import SCALES

GLASS = SCALES["glass_half_mm"]
TODAY = date(2026, 11, 25)
ROUNDS = ["34 38 30", "34.5 38 30", "34 38,5 30½", "34 38 30", "33.5 37.5 30"]


def typed(rounds=ROUNDS, **more):
    cells = {
        f"t{turn}_{place}": text
        for turn, line in enumerate(rounds, 1)
        for place, text in enumerate(line.split(), 1)
    }
    return cells | more


def test_a_study_is_kept_as_typed_with_its_readings_by_piece():
    entry = parse_study(typed(piece_2="test cap"), GLASS, 3, 5, TODAY)
    assert [one.typed for one in group_values(entry.values)[1]] == [
        "38",
        "38",
        "38,5",
        "38",
        "37.5",
    ]
    assert group_values(entry.values)[1][0].piece == "test cap"
    assert entry.done_on == TODAY


def test_the_repeatability_is_that_of_a_sum_done_by_hand():
    """In half numbers squared, about the means 34, 38 and 30.1: 0.5, 0.5 and 0.2, over 12."""
    study = work_out_study(parse_study(typed(), GLASS, 3, 5, TODAY).values)
    assert study.within_dof == 12
    assert study.repeatability_mm == pytest.approx((1.2 / 12) ** 0.5 / 2)


def test_the_outcome_says_deviation_interval_and_what_a_reading_is_worth():
    entry = parse_study(typed(), GLASS, 3, 5, TODAY)
    words = " ".join(describe_study(entry.values, "0.0015 in", GLASS, 0.25))
    assert "standard deviation of 0.16 mm, 0.32 of the gauge’s numbers" in words
    assert "between 0.11 and 0.26 mm" in words
    assert "12 degrees of freedom" in words
    # √(0.158² + (0.125/√3)²) = 0.174, twice
    assert "known within ± 0.35 mm" in words
    assert list_study_rows(entry.values, GLASS)[0].readings == "34 34.5 34 34 33.5"


def test_equal_repeats_leave_only_the_step_of_the_scale():
    entry = parse_study(typed(["34 38", "34 38"]), GLASS, 2, 2, TODAY)
    words = " ".join(describe_study(entry.values, "0.0015 in", GLASS, 0.25))
    assert "Every repeat was the same" in words
    assert "known within ± 0.14 mm" in words


def test_a_slip_of_the_pen_names_its_piece():
    slipped = typed([*ROUNDS[:4], "43 37.5 30"], piece_1="old cap")
    entry = parse_study(slipped, GLASS, 3, 5, TODAY)
    words = " ".join(describe_study(entry.values, "0.0015 in", GLASS, 0.25))
    assert "Old cap repeats much worse than the others" in words


@pytest.mark.parametrize(
    ("raw", "field", "words"),
    [
        ({}, "t1_1", "at least one piece twice"),
        (typed(["34 38 30"]), "t1_1", "at least one piece twice"),
        (typed() | {"t2_3": "abc"}, "t2_3", "not a number"),
        (typed() | {"t2_3": "340"}, "t2_3", "beyond any reading"),
        (typed(done_on="2026-12-24"), "done_on", "future"),
    ],
)
def test_what_cannot_be_a_study_is_refused_at_its_cell(raw, field, words):
    refused = parse_study(raw, GLASS, 3, 5, TODAY)
    assert isinstance(refused, Refused)
    assert words in refused.problems[field]


def test_cells_left_out_are_no_readings():
    entry = parse_study(typed(["34 38 –", "34.5 – 30", "34 38"]), GLASS, 3, 3, TODAY)
    assert [len(group) for group in group_values(entry.values)] == [3, 2, 1]


@pytest.mark.parametrize(
    ("asked", "given"),
    [(("", ""), (3, 5)), (("2", "8"), (2, 8)), (("0", "1"), (1, 2)), (("99", "x"), (8, 5))],
)
def test_the_grid_s_size_stays_within_reason(asked, given):
    assert clamp_size(*asked) == given
