"""At the bench: what is left, when to stop, and which passes make a pair."""

import pytest

from app.core.facing.analysis import MalformedReading
from app.core.facing.evenness import blade_key
from app.core.plan.bench import (
    LoggedPass,
    bracket_passes,
    judge_bench,
    left_for_cut,
    measure_depth,
)
from app.core.plan.facings import FacingTolerance, PlainFacing
from app.core.plan.plan import plan_removal
from app.core.plan.plan_values import PlanRequest
from app.core.plan.removal import make_kind
from app.core.values.passes import CUT_KINDS
from app.core.values.readings import FacingReadings
from tests.core.planning import BLADES_MM, CLOSE, OPEN, as_stops, read_arc, read_numbers

HALF_NUMBER = FacingTolerance(position_mm=0.25, tip_mm=0.02)


def test_readings_that_are_the_target_say_stop() -> None:
    state = judge_bench(OPEN, OPEN, HALF_NUMBER)
    assert state.stop
    assert state.words == "Stop: within tolerance."
    assert len(state.blades) == 9
    assert [blade.height_mm for blade in state.blades] == pytest.approx([0.0] * 9, abs=1e-5)


def test_what_is_left_is_told_blade_by_blade_and_at_the_tip() -> None:
    state = judge_bench(OPEN, CLOSE, HALF_NUMBER)
    assert not state.stop
    assert {blade.state for blade in state.blades} == {"cut"}
    first, tip = state.blades[0], state.blades[-1]
    assert (first.rail, first.gap_mm) == ("left", pytest.approx(BLADES_MM[0]))
    assert first.target_mm == 17.75
    assert first.away_mm == pytest.approx(-1.0)
    # the target's √h falls by about 0.0515 a mm there: (0.195 + 0.0515)² − 0.0381
    assert first.height_mm == pytest.approx(0.0227, abs=0.002)
    assert (tip.rail, tip.gap_mm, tip.height_mm) == ("tip", None, pytest.approx(0.08))


def test_a_rail_past_the_target_is_too_open_and_rails_cannot_mend_it() -> None:
    state = judge_bench(CLOSE, OPEN, HALF_NUMBER)
    assert {blade.state for blade in state.blades} == {"open"}
    assert "too open" in state.words


def test_one_blade_outside_is_enough_to_go_on() -> None:
    nearly = read_numbers([35.5, 23.5, 13.5, 6.5], 1.13, [35.5, 23.5, 12.5, 6.5])
    state = judge_bench(OPEN, nearly, HALF_NUMBER)
    assert [blade.state for blade in state.blades].count("cut") == 1
    assert state.words == "Still to cut."
    wider = judge_bench(OPEN, nearly, FacingTolerance(position_mm=0.5, tip_mm=0.02))
    assert wider.stop


# one reading of the right rail lies three and a half numbers beyond where the others have it
SPOILT = read_numbers([35.5, 23.5, 12, 5.5], 1.07, [35.5, 27, 12, 5.5])
SOUND = read_numbers([35.5, 23.5, 12, 5.5], 1.07)


def test_of_a_reading_to_be_taken_again_nothing_is_said_and_it_is_no_time_to_stop() -> None:
    state = judge_bench(SOUND, SPOILT, HALF_NUMBER)
    assert state.again == {("right", blade_key(0.254))}
    assert {blade.state for blade in state.blades} == {"within"}
    assert len(state.blades) == 8
    assert not state.stop
    assert state.words == (
        "Read the 0.010 in blade on the right rail again: all else is within tolerance."
    )
    assert judge_bench(SOUND, SOUND, HALF_NUMBER).stop


def test_from_a_reading_to_be_taken_again_no_rate_is_learnt() -> None:
    cut = read_numbers([35.5, 23.5, 12, 5.5], 1.07, [36.5, 24.5, 13, 6.5])
    spoilt = measure_depth("right_rail", SPOILT, cut)
    sound = measure_depth("right_rail", SOUND, cut)
    assert spoilt is not None
    assert sound is not None
    assert spoilt.mm == pytest.approx(sound.mm, rel=0.1)


def test_a_tip_exactly_at_its_tolerance_is_within_it() -> None:
    # 1.12 − 1.10 is a little more than 0.02 in binary
    target, now = FacingReadings((), (), 1.10), FacingReadings((), (), 1.12)
    state = judge_bench(target, now, FacingTolerance(tip_mm=0.02))
    assert [blade.state for blade in state.blades] == ["within"]


@pytest.mark.parametrize(
    ("now", "words"),
    [
        (FacingReadings(OPEN.left, (), 1.13), "right rail"),
        (FacingReadings(OPEN.left, OPEN.right), "tip opening"),
        (FacingReadings((), (), 1.13), "left rail and the right rail"),
    ],
)
def test_it_never_says_stop_before_both_rails_and_the_tip_were_read(now, words) -> None:
    state = judge_bench(OPEN, now, HALF_NUMBER)
    assert not state.stop
    assert f"read the {words} too" in state.words


def test_without_a_tolerance_the_gauges_decide() -> None:
    facing = PlainFacing(18.0, 1.1)
    assert judge_bench(facing, read_arc(facing, 0.2), FacingTolerance()).stop
    assert not judge_bench(facing, read_arc(facing, 1.0), FacingTolerance()).stop


def test_nothing_read_is_refused_in_words() -> None:
    with pytest.raises(MalformedReading, match="rail or the tip"):
        judge_bench(OPEN, FacingReadings(), HALF_NUMBER)


def test_what_is_left_for_a_cut_follows_the_kind_of_cut() -> None:
    plan, state = plan_removal(PlanRequest(OPEN, CLOSE)), judge_bench(CLOSE, OPEN, HALF_NUMBER)
    flat = left_for_cut("flat", plan, state)
    assert flat is not None
    assert flat.mm == plan.table.at_break_mm
    assert 0.0 < flat.u_mm < 0.02
    plan, state = plan_removal(PlanRequest(CLOSE, OPEN)), judge_bench(OPEN, CLOSE, HALF_NUMBER)
    tip, left = (left_for_cut(cut, plan, state) for cut in ("tilted", "left_rail"))
    assert tip is not None
    assert left is not None
    assert tip.mm == pytest.approx(0.08)
    assert 0.02 < left.mm < 0.08
    told = {cut: left_for_cut(cut, plan, state) is not None for cut in CUT_KINDS}
    assert [cut for cut, known in told.items() if not known] == ["baffle", "chamber", "bore"]


def test_the_depth_of_a_flat_cut_is_the_gap_lost_everywhere() -> None:
    facing = PlainFacing(18.0, 1.1)
    plan = plan_removal(PlanRequest(read_arc(facing), PlainFacing(16.0, 1.05)))
    after = plan.after_table
    stops = as_stops(BLADES_MM, [stop.position_mm for stop in after.left])
    lowered = FacingReadings(stops, stops, after.tip_opening_mm)
    depth = measure_depth("flat", read_arc(facing), lowered)
    assert depth is not None
    assert depth.mm == pytest.approx(plan.table.at_break_mm, abs=1e-3)
    assert 0.0 < depth.u_mm < 0.01


def test_depths_of_other_cuts() -> None:
    tip = measure_depth("tilted", CLOSE, OPEN)
    assert tip is not None
    assert tip.mm == pytest.approx(0.08)
    left = measure_depth(
        "left_rail", CLOSE, read_numbers([34.5, 22.5, 12.5, 6.5], 1.05, [33.5, 21.5, 11.5, 5.5])
    )
    right = measure_depth(
        "right_rail", CLOSE, read_numbers([34.5, 22.5, 12.5, 6.5], 1.05, [33.5, 21.5, 11.5, 5.5])
    )
    assert left is not None
    assert right is not None
    assert left.mm > 0.02
    assert right.mm == pytest.approx(0.0, abs=1e-9)
    assert measure_depth("bore", CLOSE, OPEN) is None
    assert measure_depth("tilted", CLOSE, FacingReadings(OPEN.left, OPEN.right)) is None
    assert measure_depth("left_rail", FacingReadings(), OPEN) is None


def log_pass(cut: str, strokes: float | None = 10, grit: str = "P600") -> LoggedPass:
    return LoggedPass(cut, "wet abrasive paper", grit, strokes)


def test_passes_between_two_measurements_make_a_pair_with_their_strokes_added() -> None:
    log = [CLOSE, log_pass("tilted", 10), log_pass("tilted", 6, "p600"), OPEN]
    (pair,) = bracket_passes(log, "hard_rubber", "2031")
    assert (pair.strokes, pair.job) == (16, "2031")
    assert pair.depth_mm == pytest.approx(0.08)
    assert pair.kind == make_kind("tilted", "wet abrasive paper", "P600", "hard_rubber")


def test_left_and_right_rail_may_be_worked_in_one_spell() -> None:
    after = read_numbers([34.5, 22.5, 12.5, 6.5], 1.05, [33.5, 21.5, 11.5, 5.5])
    pairs = bracket_passes([CLOSE, log_pass("left_rail"), log_pass("right_rail", 4), after], "x")
    assert [(pair.kind.cut, pair.strokes) for pair in pairs] == [
        ("left_rail", 10),
        ("right_rail", 4),
    ]
    assert pairs[0].depth_mm > pairs[1].depth_mm


def test_thirds_of_one_rail_are_told_apart_by_the_blades_that_stop_there() -> None:
    after = read_numbers([33.5, 21.5, 12.5, 6.5], 1.05, [33.5, 21.5, 11.5, 5.5])
    between = [log_pass("left_tip", 6), log_pass("left_middle", 3)]
    pairs = bracket_passes([CLOSE, *between, after], "x")
    assert [(one.kind.cut, one.strokes) for one in pairs] == [("left_middle", 3), ("left_tip", 6)]
    assert min(one.depth_mm for one in pairs) > 0.01
    assert bracket_passes([CLOSE, *between, log_pass("left_rail"), after], "x") == ()


@pytest.mark.parametrize(
    "between",
    [
        [],
        [log_pass("flat"), log_pass("tilted")],
        [log_pass("tilted"), log_pass("tilted", 5, "P1200")],
        [log_pass("tilted", None)],
        [log_pass("tilted"), log_pass("tilted", 0)],
        [log_pass("baffle")],
    ],
)
def test_passes_whose_depth_cannot_be_ascribed_make_no_pair(between: list[LoggedPass]) -> None:
    assert bracket_passes([CLOSE, *between, OPEN], "hard_rubber") == ()


def test_passes_not_bracketed_by_readings_make_no_pair() -> None:
    assert bracket_passes([log_pass("tilted"), CLOSE, log_pass("tilted")], "x") == ()
