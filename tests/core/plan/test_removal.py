"""The removal rate: what it learns, what it dares to propose, and a shop simulated in numbers."""

import math

import numpy as np
import pytest

from app.core.plan.removal import (
    DECISIONS,
    RemovalPair,
    RemovalRate,
    forecast_depth,
    group_pairs,
    learn_rate,
    make_kind,
    propose_strokes,
)

FLAT = make_kind("flat on the plate", "silicon carbide", "P600", "hard rubber")


def make_pairs(*pairs: tuple[float, float]) -> list[RemovalPair]:
    return [RemovalPair(FLAT, strokes, depth) for strokes, depth in pairs]


def steady_rate(mm_per_stroke: float = 0.001) -> RemovalRate:
    counts = (10, 20, 30, 40)
    noise = (0.0002, -0.0003, 0.0002, 0.0)
    pairs = [(n, n * mm_per_stroke + e) for n, e in zip(counts, noise, strict=True)]
    return learn_rate(FLAT, make_pairs(*pairs))


@pytest.mark.parametrize("count", [0, 1, 2])
def test_under_three_pairs_it_says_that_it_does_not_know(count: int) -> None:
    rate = learn_rate(FLAT, make_pairs(*[(10, 0.01)] * count))
    assert not rate.known
    assert "Not known yet" in rate.words
    proposal = propose_strokes(rate, 0.05)
    assert (proposal.decision, proposal.strokes) == ("unknown", 0)
    assert "a few strokes" in proposal.words
    with pytest.raises(ValueError, match="Not known yet"):
        forecast_depth(rate, 5)


def test_pairs_of_another_grit_are_left_aside() -> None:
    coarse = make_kind("flat on the plate", "silicon carbide", "P240", "hard rubber")
    pairs = [*make_pairs((10, 0.01), (20, 0.02), (30, 0.03)), RemovalPair(coarse, 10, 0.05)]
    assert learn_rate(FLAT, pairs).mm_per_stroke == pytest.approx(0.001)
    assert {kind: len(found) for kind, found in group_pairs(pairs).items()} == {FLAT: 3, coarse: 1}


def test_a_grit_typed_otherwise_is_the_same_grit() -> None:
    assert make_kind(" Flat on  the plate", "Silicon carbide", "p 600", "hard rubber ") == FLAT


@pytest.mark.parametrize(
    ("typed", "grade"),
    [
        ("P600", "P600"), ("p 600", "P600"), ("FEPA 600", "P600"), ("CAMI 600", "CAMI 600"),
        ("600 ANSI", "CAMI 600"), ("J 2000", "JIS 2000"), ("9 micron", "9 µm"),
        ("0,5 µm", "0.5 µm"),
        ("600 grit", "600"), ("#600", "600"), ("fine, worn", "fine.worn"), ("", ""),
    ],
)  # fmt: skip
def test_grades_of_different_systems_are_kept_apart(typed: str, grade: str) -> None:
    """P600 is coarser than CAMI 600, and a bare 600 may be either."""
    kind = make_kind("tilted", "wet paper", typed, "x")
    assert kind.grit == grade
    assert make_kind("tilted", "wet paper", kind.grit, "x") == kind


def test_the_rate_is_the_line_through_the_origin() -> None:
    rate = learn_rate(FLAT, make_pairs((10, 0.012), (20, 0.018), (40, 0.041)))
    by_hand = (10 * 0.012 + 20 * 0.018 + 40 * 0.041) / (100 + 400 + 1600)
    assert rate.mm_per_stroke == pytest.approx(by_hand)


def test_precise_pairs_give_strokes_for_seventy_percent() -> None:
    proposal = propose_strokes(steady_rate(), 0.100)
    assert proposal.decision == "go on"
    assert proposal.strokes in (69, 70)
    assert proposal.forecast is not None
    assert proposal.forecast.high_mm <= 0.100
    assert "more than any pass so far" in proposal.words


def test_scattered_pairs_hold_the_proposal_to_the_safe_end() -> None:
    rate = learn_rate(FLAT, make_pairs((10, 0.006), (20, 0.031), (30, 0.025)))
    proposal = propose_strokes(rate, 0.100)
    assert 0 < proposal.strokes < 40
    assert forecast_depth(rate, proposal.strokes).high_mm <= 0.100
    assert forecast_depth(rate, proposal.strokes + 1).high_mm > 0.100


@pytest.mark.parametrize(
    ("left", "decision"),
    [(0.050, "go on"), (0.010, "stop"), (0.0, "stop"), (-0.010, "stop"), (-0.011, "past")],
)
def test_the_tolerance_decides_when_to_stop(left: float, decision: str) -> None:
    proposal = propose_strokes(steady_rate(), left, tolerance_mm=0.010)
    assert proposal.decision == decision
    assert proposal.decision in DECISIONS


def test_before_it_is_too_late_it_says_that_the_next_pass_could_overshoot() -> None:
    unsure = propose_strokes(steady_rate(), 0.012, left_u_mm=0.010, tolerance_mm=0.005)
    assert (unsure.decision, unsure.strokes) == ("careful", 0)
    assert "could overshoot" in unsure.words
    as_last_time = propose_strokes(steady_rate(), 0.020, tolerance_mm=0.005, usual_strokes=30)
    assert as_last_time.decision == "careful"
    assert 0 < as_last_time.strokes < 20
    assert "30 strokes as last time could overshoot" in as_last_time.words
    enough = propose_strokes(steady_rate(), 0.020, tolerance_mm=0.005, usual_strokes=15)
    assert enough.decision == "go on"


def test_passes_that_took_nothing_do_not_make_a_rate() -> None:
    rate = learn_rate(FLAT, make_pairs((10, 0.002), (20, -0.004), (30, 0.0)))
    assert not rate.known
    assert propose_strokes(rate, 0.05).decision == "unknown"


@pytest.mark.parametrize(
    ("pair", "words"),
    [((0, 0.01), "number of strokes"), ((math.nan, 0.01), "strokes"), ((5, math.inf), "depth")],
)
def test_an_impossible_pair_is_refused_in_words(pair: tuple[float, float], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        learn_rate(FLAT, make_pairs(pair))


@pytest.mark.parametrize(
    "asked",
    [
        {"left_mm": math.nan},
        {"left_mm": 0.1, "left_u_mm": -1.0},
        {"left_mm": 0.1, "tolerance_mm": math.inf},
        {"left_mm": 0.1, "usual_strokes": 0},
    ],
)
def test_an_impossible_question_is_refused_in_words(asked: dict[str, float]) -> None:
    with pytest.raises(ValueError, match="must be"):
        propose_strokes(steady_rate(), **asked)


@pytest.mark.parametrize("slope", [1e-12, 5e-324, 1e6])
def test_absurd_rates_neither_crash_nor_overshoot(slope: float) -> None:
    rate = learn_rate(FLAT, make_pairs((10, 10 * slope), (20, 20 * slope), (30, 30 * slope)))
    proposal = propose_strokes(rate, 0.05, left_u_mm=0.003)
    assert 0 <= proposal.strokes <= 10_000
    if proposal.strokes and proposal.forecast is not None:
        assert proposal.forecast.high_mm <= 0.05


SHOPS = {
    # scatter from pass to pass as a share, of a measured depth in mm, of what is left in mm
    "steady hand, good gauges": (0.05, 0.002, 0.002),
    "ordinary hand and gauges": (0.10, 0.003, 0.003),
    "rough gauges": (0.10, 0.008, 0.008),
    "uneven hand": (0.20, 0.003, 0.003),
    "gauges only": (0.00, 0.005, 0.005),
    "hand only": (0.30, 0.000, 0.000),
}


@pytest.mark.parametrize("shop", SHOPS)
def test_two_thousand_simulated_jobs_overshoot_in_under_two_and_a_half_percent(shop: str) -> None:
    """Each job is worked to its end: read, propose, cut, learn; one cut too deep spoils it."""
    hand, depth_noise, left_noise = SHOPS[shop]
    rng = np.random.default_rng(20)
    overshot, reached = 0, []
    for _ in range(2000):
        true_rate, start = rng.uniform(0.0005, 0.003), rng.uniform(0.02, 0.15)
        counts = rng.integers(5, 40, size=rng.integers(3, 9))
        depths = counts * true_rate * (1 + hand * rng.standard_normal(counts.size))
        depths += depth_noise * rng.standard_normal(counts.size)
        pairs = make_pairs(*zip(counts.tolist(), depths.tolist(), strict=True))
        left, spoilt = start, False
        for _ in range(12):
            seen = left + left_noise * rng.standard_normal()
            proposal = propose_strokes(learn_rate(FLAT, pairs), seen, left_noise, 0.010)
            if proposal.strokes == 0:
                break
            taken = proposal.strokes * true_rate * max(0.0, 1 + hand * rng.standard_normal())
            spoilt |= taken > left
            left -= taken
            measured = taken + depth_noise * rng.standard_normal()
            pairs.append(RemovalPair(FLAT, proposal.strokes, measured))
        overshot += spoilt
        reached.append(1 - left / start)
    print(f"{shop}: {overshot / 20:.2f} % overshot, {np.median(reached):.0%} of the way in the end")
    assert overshot / 2000 < 0.025
    # and it is of use: a program that proposed nothing would never overshoot either
    assert np.median(reached) > 0.7
