"""The next pass: kinds ready to log, strokes that can't overshoot, and when to read again."""

from dataclasses import replace

import pytest

from app.core.plan.bench import LoggedPass, judge_bench
from app.core.plan.facings import FacingTolerance, even_up
from app.core.plan.next_pass import (
    BenchAim,
    judge_next,
    needed_cuts,
    offer_passes,
    passes_since,
    plan_strokes,
)
from app.core.plan.plan import plan_removal
from app.core.plan.plan_values import PlanRequest
from app.core.plan.removal import RemovalPair, forecast_depth, learn_rate, make_kind
from tests.core.planning import CLOSE, OPEN, read_numbers

TOLERANCE = FacingTolerance(0.5, 0.02, 0.02)
TILTED = LoggedPass("tilted", "wet paper", "600", 8.0)
FLAT = LoggedPass("flat", "wet paper", "1000", 6.0)
BAFFLE = LoggedPass("baffle", "file", "", None)
# 2 µm a stroke, to within a few tenths of a µm
PAIRS = [
    RemovalPair(make_kind(cut, "wet paper", grit, "hard_rubber"), n, n * 0.002 + e)
    for cut, grit in (("tilted", "600"), ("flat", "1000"))
    for n, e in ((10, 0.0004), (20, -0.0005), (30, 0.0003), (15, 0.0))
]


def aim_at(now=CLOSE, target=OPEN, pairs=PAIRS, tolerance=TOLERANCE):
    return BenchAim(
        plan_removal(PlanRequest(now, target, tolerance_mm=tolerance.gap_mm or 0.0)),
        judge_bench(target, now, tolerance),
        tolerance,
        "hard_rubber",
        lambda kind: learn_rate(kind, pairs),
    )


def test_the_kinds_last_used_stand_ready_newest_first_and_once_each():
    log = [CLOSE, TILTED, BAFFLE, replace(TILTED, grit=" 600 ", strokes=5.0)]
    offers = offer_passes(log, [], None)
    assert [(one.cut, one.strokes) for one in offers] == [("tilted", 5), ("baffle", None)]
    assert offers[0].label == "tilted toward the tip, wet paper  600"
    assert {one.decision for one in offers} == {""}


def test_of_the_shops_passes_only_those_the_plan_calls_for_are_offered():
    offers = offer_passes([CLOSE], [FLAT, TILTED, BAFFLE], aim_at())
    assert [one.cut for one in offers] == ["tilted"]
    offers = offer_passes([OPEN], [FLAT, TILTED], aim_at(OPEN, CLOSE))
    assert [one.cut for one in offers] == ["flat"]


def test_no_more_than_four_kinds_are_offered():
    many = [replace(TILTED, grit=str(grit)) for grit in (400, 600, 800, 1000, 1200, 2000)]
    assert [one.grit for one in offer_passes(many, [], None)] == ["2000", "1200", "1000", "800"]


def test_strokes_are_proposed_from_the_rate_and_can_not_overshoot():
    offer = offer_passes([CLOSE, TILTED, CLOSE], [], aim_at())[0]
    assert offer.decision == "go on"
    # 80 µm are left at the tip, known to 10 µm (k = 1); 70 % of it at 2 µm a stroke is 28 strokes
    assert 10 < offer.strokes <= 28
    rate = learn_rate(make_kind("tilted", "wet paper", "600", "hard_rubber"), PAIRS)
    assert forecast_depth(rate, offer.strokes, 0.01).high_mm <= 0.08


def test_a_cut_that_the_plan_begins_with_is_not_stopped_by_its_own_place_alone():
    """The tip is there, the thin blades are not: the plan tilts on, and so does the offer."""
    short = read_numbers([32, 20.5, 12, 6], 1.12)
    aim = aim_at(short)
    assert {one.state for one in aim.state.blades if one.rail == "tip"} == {"within"}
    assert "tilted" in needed_cuts(aim.plan)
    offer = offer_passes([CLOSE, TILTED, short], [], aim)[0]
    assert offer.decision in {"go on", "careful"}
    assert "Stop" not in offer.words
    (begun,) = (one for one in plan_strokes(aim, [TILTED]) if one.cut == "tilted")
    assert offer.strokes == begun.strokes
    assert judge_next(aim.state, aim.plan, [offer], ()).key != "stop"


def test_a_cut_that_the_plan_asks_nothing_more_of_says_so_and_no_more():
    """One rail is there, the other not: of the first nothing is asked, but nothing is finished."""
    aim = aim_at(read_numbers([35.5, 23.5, 13.5, 6.5], 1.13, [33.5, 21.5, 11.5, 5.5]))
    left = LoggedPass("left_rail", "wet paper", "600", 5.0)
    offer = offer_passes([CLOSE, left, OPEN], [], aim)[0]
    assert (offer.decision, offer.words) == ("stop", "The plan asks no more of this cut.")


def test_strokes_since_the_readings_are_taken_off_the_proposal():
    fresh = offer_passes([CLOSE, TILTED, CLOSE], [], aim_at())[0]
    later = offer_passes([CLOSE, TILTED], [], aim_at())[0]
    assert later.strokes == fresh.strokes - 8
    assert "8 strokes since the readings" in later.words
    spent = offer_passes([CLOSE, replace(TILTED, strokes=60.0)], [], aim_at())[0]
    assert spent.decision == "careful"
    assert "read again" in spent.words


@pytest.mark.parametrize(
    ("since", "decision", "words"),
    [
        ((FLAT,), "careful", "Other passes were made since"),
        ((replace(TILTED, grit="320"),), "careful", "Other passes were made since"),
        ((replace(TILTED, strokes=None),), "careful", "Other passes were made since"),
        ((BAFFLE,), "go on", "expect"),
    ],
)
def test_what_came_between_decides_whether_to_read_again(since, decision, words):
    offer = next(
        one for one in offer_passes([CLOSE, TILTED, CLOSE, *since], [], aim_at())
        if (one.cut, one.grit) == ("tilted", "600")
    )  # fmt: skip
    assert offer.decision == decision
    assert words in offer.words


def test_while_the_rate_is_not_known_one_pass_asks_for_readings():
    unknown = aim_at(pairs=PAIRS[:2])
    offer = offer_passes([CLOSE, TILTED, CLOSE], [], unknown)[0]
    assert (offer.decision, offer.strokes) == ("unknown", 8)
    assert "Not known yet" in offer.words
    offer = offer_passes([CLOSE, TILTED], [], unknown)[0]
    assert offer.decision == "careful"
    assert "8 strokes since the readings" in offer.words


def test_a_flat_cut_is_offered_only_what_the_table_must_lose():
    offers = offer_passes([CLOSE, FLAT, CLOSE], [], aim_at())
    assert offers[0].words == "The plan takes nothing off the table."
    assert offers[0].decision == "stop"
    back = aim_at(OPEN, CLOSE)
    offer = offer_passes([OPEN, FLAT, OPEN], [], back)[0]
    assert offer.decision in {"go on", "careful"}
    if offer.strokes:
        assert offer.strokes * 0.002 <= back.plan.table.at_break_mm


def test_near_the_target_not_even_one_stroke_may_be_safe():
    near = read_numbers([35.5, 23.5, 13.5, 6.5], 1.109)
    offer = offer_passes([near, TILTED, near], [], aim_at(near, OPEN))[0]
    assert offer.decision == "careful"
    verdict = judge_next(aim_at(near, OPEN).state, aim_at(near, OPEN).plan, [offer], [])
    assert (verdict.key, verdict.words) == ("careful", "Next pass could overshoot.")


def test_the_cuts_needed_follow_the_plans_first_step():
    assert needed_cuts(aim_at().plan) == {"tilted"}
    assert needed_cuts(aim_at(OPEN, CLOSE).plan) == {"flat", "table"}
    uneven = read_numbers([33.5, 21.5, 11.5, 5.5], 1.05, [32.5, 20.5, 10.5, 4.5])
    evened = needed_cuts(aim_at(uneven, even_up(uneven)).plan)
    assert "right_rail" in evened
    assert {cut.partition("_")[0] for cut in evened} == {"right"}
    opened = needed_cuts(aim_at(uneven, OPEN).plan)
    assert {"tilted", "right_rail"} <= opened
    assert not any(cut.startswith("left") for cut in opened)
    assert needed_cuts(aim_at(OPEN, OPEN).plan) == set()


def test_within_tolerance_says_stop_until_something_was_cut_since():
    aim = aim_at(OPEN, OPEN)
    assert judge_next(aim.state, aim.plan, (), ()).words == "Stop: within tolerance."
    after = judge_next(aim.state, aim.plan, (), (TILTED,))
    assert after.key == "careful"
    assert "Read again first" in after.words
    assert judge_next(aim.state, aim.plan, (), (BAFFLE,)).key == "stop"


def test_going_on_says_what_is_first():
    up, back = aim_at(), aim_at(OPEN, CLOSE)
    assert judge_next(up.state, up.plan, (), ()).words == "Still to cut."
    assert judge_next(back.state, back.plan, (), ()).words.startswith("The table first")
    read = judge_next(up.state, up.plan, (), (TILTED,))
    assert (read.key, read.words) == ("read", "1 pass since the last readings.")


def test_passes_since_are_those_after_the_last_readings():
    assert passes_since([TILTED, CLOSE, FLAT, BAFFLE]) == (FLAT, BAFFLE)
    assert passes_since([TILTED, CLOSE]) == ()
