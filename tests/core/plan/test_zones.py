"""Thirds of a rail, a plan taken apart for a hand, and shops that work by it."""

import numpy as np
import pytest

from app.core.plan.bench import LoggedPass, judge_bench
from app.core.plan.facings import FacingTolerance, even_up
from app.core.plan.next_pass import BenchAim, plan_strokes, say_strokes
from app.core.plan.plan import plan_removal
from app.core.plan.plan_values import PlanRequest
from app.core.plan.removal import RemovalPair, learn_rate, make_kind, propose_strokes
from app.core.plan.zones import list_zone_cuts, split_cut, zone_of
from tests.core.planning import OPEN, read_numbers

S = np.linspace(0.0, 18.0, 181)
NO_U = np.full(181, 0.001)


def test_thirds_are_counted_from_the_tip() -> None:
    assert [zone_of(at, 18.0) for at in (0.0, 5.9, 6.1, 12.1, 18.0, 25.0)] == [
        "tip", "tip", "middle", "heel", "heel", "heel",
    ]  # fmt: skip


def test_a_wedge_is_a_tilt_and_what_one_rail_lacks_beyond_it_is_said_by_third() -> None:
    wedge = 0.06 * (1 - S / 18)
    bump = np.where((S > 6) & (S < 12), 0.02, 0.0)
    u = {"left": NO_U, "right": NO_U}
    (tilt,) = split_cut(S, {"left": wedge, "right": wedge}, u, 18.0)
    assert (tilt.cut, tilt.depth_mm) == ("tilted", pytest.approx(0.06))
    tilt, right = split_cut(S, {"left": wedge, "right": wedge + bump}, u, 18.0)
    assert (right.cut, right.depth_mm) == ("right_middle", pytest.approx(0.02, abs=0.001))
    (whole,) = split_cut(S, {"left": 0 * S, "right": 0 * S + 0.02}, u, 18.0)
    assert whole.cut == "right_rail"
    unsure = {"left": NO_U, "right": NO_U * 30}
    assert len(split_cut(S, {"left": wedge, "right": wedge + bump}, unsure, 18.0)) == 1


def test_the_plan_says_where_and_how_many_strokes() -> None:
    uneven = read_numbers([33.5, 21.5, 11.5, 5.5], 1.05, [33.5, 19.5, 11.0, 5.5])
    plan = plan_removal(PlanRequest(uneven, OPEN, tolerance_mm=0.01))
    pairs = [
        RemovalPair(make_kind(cut, "wet paper", "600", "x"), n, n * 0.002 + e)
        for cut in ("tilted", "right_rail")
        for n, e in ((10, 0.0004), (20, -0.0005), (30, 0.0003), (15, 0.0))
    ]
    state = judge_bench(OPEN, uneven, FacingTolerance(0.5, 0.02, 0.01))
    aim = BenchAim(plan, state, FacingTolerance(), "x", lambda kind: learn_rate(kind, pairs))
    steps = plan_strokes(aim, [LoggedPass("tilted", "wet paper", "600", 8.0)])
    assert [one.cut for one in steps][:2] == ["tilted", "right_middle"]
    tilt = next(one for one in list_zone_cuts(plan) if one.cut == "tilted")
    assert 0 < steps[0].strokes * 0.002 <= 0.7 * tilt.depth_mm
    words = say_strokes(steps)
    assert words.startswith("Begin with: tilted toward the tip, ")
    assert "; then right rail, middle, " in words
    assert words.endswith("Then read again.")
    evened = plan_removal(PlanRequest(OPEN, even_up(OPEN)))
    assert list_zone_cuts(evened) == ()


def test_simulated_shops_that_work_by_thirds_overshoot_in_under_two_and_a_half_percent() -> None:
    """Two rails by three thirds; each round reads with noise, splits, cuts, and learns.

    A third is spoilt once more than it lacked came off it.
    """
    rng = np.random.default_rng(8)
    thirds = np.array([3.0, 9.0, 15.0])
    fall = 1 - thirds / 18
    kinds = {cut: make_kind(cut, "", "600", "") for cut in (
        "tilted", *(f"{rail}_{zone}" for rail in ("left", "right")
                    for zone in ("rail", "tip", "middle", "heel")))}  # fmt: skip
    rate_of = {cut: rng.uniform(0.001, 0.002) for cut in kinds}
    spoilt = jobs = 0
    shares = []
    for _ in range(150):
        common = rng.uniform(0.04, 0.09) * fall**0.8
        left = {
            rail: common + rng.uniform(0, 0.03, 3) * (rail == "right") for rail in ("left", "right")
        }
        start = sum(one.sum() for one in left.values())
        pairs = [
            RemovalPair(kind, n, n * rate_of[cut] * (1 + 0.1 * rng.standard_normal()))
            for cut, kind in kinds.items() for n in (8, 15, 22, 12)
        ]  # fmt: skip
        bad = False
        for _ in range(4):
            seen = {rail: one + 0.004 * rng.standard_normal(3) for rail, one in left.items()}
            lines = {rail: np.interp(S, [0, *thirds, 18], [one[0] * 18 / 15, *one, one[2] / 3])
                     for rail, one in seen.items()}  # fmt: skip
            lines = {rail: np.maximum(0.0, one) for rail, one in lines.items()}
            u = {rail: np.full(181, 0.004) for rail in lines}
            for part in split_cut(S, lines, u, 18.0)[:3]:
                rate = learn_rate(kinds[part.cut], pairs)
                strokes = propose_strokes(rate, part.depth_mm, part.u_mm).strokes
                took = strokes * rate_of[part.cut] * (1 + 0.1 * rng.standard_normal())
                rail, _, zone = part.cut.partition("_")
                for side, lacks in left.items():
                    if part.cut == "tilted":
                        lacks -= took * fall
                    elif side == rail:
                        lacks -= took * np.array(
                            [zone in {"rail", z} for z in ("tip", "middle", "heel")]
                        )
                if strokes:
                    read = took + 0.004 * rng.standard_normal()
                    pairs.append(RemovalPair(kinds[part.cut], strokes, read))
            bad |= min(one.min() for one in left.values()) < -0.001
        spoilt, jobs = spoilt + bad, jobs + 1
        shares.append(1 - sum(one.sum() for one in left.values()) / start)
    print(f"{spoilt} of {jobs} jobs overshot; {np.mean(shares):.0%} of the way in four rounds")
    assert spoilt / jobs < 0.025
    assert np.mean(shares) > 0.5
