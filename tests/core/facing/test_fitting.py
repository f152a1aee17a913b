"""Fits: what they recover, what they agree with, and how often their limits hold the truth."""

from dataclasses import replace

import numpy as np
import pytest
from app.core.facing.descent import ReadingArrays

from app.core.facing.curves import CURVES
from app.core.facing.fitting import FITTED, TOO_FEW, UNREAL, fit_curves
from app.core.facing.rails import STRAIGHT_POWER
from app.core.values.uncertainty import interval_95
from tests.core.facing.test_curves import EVERY_CURVE, USUAL
from tests.core.facing.textbook_fits import fit_textbook

BLADES_MM = 25.4 * np.array([0.0015, 0.005, 0.010, 0.016, 0.024, 0.034, 0.050])
FOUR_BLADES_MM = BLADES_MM[[0, 2, 4, 5]]


def lay_out(gap, position, *, tip=None, gap_u=0.003, position_u=0.15, tip_u=0.01):
    """Make arrays of readings of sets that share their blades: gap (n,), position (n, sets)."""
    position = np.asarray(position, float).reshape(len(gap), -1)
    sets = position.shape[1]
    return ReadingArrays(
        gap=np.repeat(np.asarray(gap, float)[:, None], sets, axis=1),
        position=position,
        gap_u=np.full(position.shape, gap_u),
        position_u=np.full(position.shape, position_u),
        present=np.ones(position.shape),
        tip=np.broadcast_to(1.0 if tip is None else tip, sets).astype(float),
        tip_u=np.full(sets, tip_u),
        tip_in=np.full(sets, float(tip is not None)),
    )


# shapes strong enough for seven blades to tell them from an arc
STRONG = USUAL | {
    "ellipse": {"break_mm": 24.0, "half_length_mm": 26.0, "half_height_mm": 3.5},
    "easing": {"break_mm": 24.0, "curvature_per_mm": 2e-3, "curvature_rate_per_mm2": 8e-4},
}


def simulate(key, gap, sets, seed, *, with_tip, truths=USUAL):
    """Read a known facing many times: the blade off by its error, then the stop by the reader's."""
    rng = np.random.default_rng(seed)
    curve, truth = CURVES[key], truths[key]
    felt = gap[:, None] + 0.003 * rng.standard_normal((len(gap), sets))
    position = curve.position_of(truth, felt) + 0.15 * rng.standard_normal(felt.shape)
    tip = float(curve.gap_at(truth, 0.0)) + 0.01 * rng.standard_normal(sets)
    return lay_out(gap, position, tip=tip if with_tip else None)


@EVERY_CURVE
@pytest.mark.parametrize("with_tip", [False, True])
def test_without_noise_a_fit_recovers_its_curve_to_a_millionth(key, with_tip):
    curve, truth = CURVES[key], USUAL[key]
    tip = float(curve.gap_at(truth, 0.0))
    fits = fit_curves(
        lay_out(BLADES_MM, curve.position_of(truth, BLADES_MM), tip=tip if with_tip else None),
        [key],
    )
    assert fits.status[0, 0] == FITTED
    assert fits.values[: curve.free, 0, 0] == pytest.approx(list(truth.values()), rel=1e-6)
    assert fits.chi_square[0, 0] < 1e-10
    assert fits.tip_opening[0, 0] == pytest.approx(tip, rel=1e-6)
    assert fits.facing_length[0, 0] == pytest.approx(
        float(curve.position_of(truth, BLADES_MM[0])), rel=1e-9
    )


@EVERY_CURVE
def test_a_fit_agrees_with_curve_fit_to_a_millionth(key):
    """An independent solver, textbook formulas, numerical derivatives."""
    readings = simulate(key, BLADES_MM, 20, seed=11, with_tip=False, truths=STRONG)
    fits = fit_curves(readings, [key])
    compared = 0
    for i in range(20):
        free = CURVES[key].free
        values, u = fits.values[:free, 0, i], fits.u[:free, 0, i]
        if fits.status[0, i] != FITTED or (u > 0.6 * np.abs(values)).any():
            continue  # nothing to agree on where the readings hardly tell
        theirs, their_u, chi_square = fit_textbook(
            key, BLADES_MM, readings.position[:, i], readings.gap_u[:, i],
            readings.position_u[:, i], values * 1.001, precision=1e-14, settled=1e-9, passes=60,
        )  # fmt: skip
        assert values == pytest.approx(theirs, rel=1e-6)
        assert u == pytest.approx(their_u, rel=1e-4)
        assert fits.chi_square[0, i] == pytest.approx(chi_square, rel=1e-6, abs=1e-9)
        compared += 1
    assert compared >= 5


@pytest.mark.parametrize("with_tip", [False, True])
def test_chi_square_is_the_sum_of_squared_residuals_over_their_uncertainties(with_tip):
    fits = fit_curves(simulate("arc", BLADES_MM, 10, seed=2, with_tip=with_tip), ["arc"])
    count = len(BLADES_MM) + with_tip
    ratio = fits.residuals[:count] / fits.residual_u[:count]
    assert (ratio**2).sum(axis=0) == pytest.approx(fits.chi_square, rel=1e-12)
    assert (fits.dof == count - 2).all()


def test_a_blade_is_weighed_by_its_reading_and_by_its_thickness_through_the_slope():
    readings = simulate("arc", BLADES_MM, 1, seed=2, with_tip=False)
    fits = fit_curves(readings, ["arc"])
    radius = fits.values[1, 0, 0]
    slope = (radius - BLADES_MM) / np.sqrt(2 * radius * BLADES_MM - BLADES_MM**2)
    assert fits.reach_per_gap[:, 0, 0] == pytest.approx(slope, rel=1e-9)
    assert fits.residual_u[: len(BLADES_MM), 0, 0] == pytest.approx(
        np.sqrt(0.15**2 + (slope * 0.003) ** 2), rel=1e-9
    )


def test_uncertainties_are_not_scaled_by_chi_square():
    """Weights are known: readings twice as far off leave the uncertainties as they are."""
    curve, truth = CURVES["arc"], USUAL["arc"]
    off = 0.2 * np.array([1, -1, 1, -1, 1, -1, 1])
    near, far = (
        fit_curves(lay_out(BLADES_MM, curve.position_of(truth, BLADES_MM) + k * off), ["arc"])
        for k in (1, 2)
    )
    assert far.chi_square[0, 0] > 3.5 * near.chi_square[0, 0]
    assert far.u[:2, 0, 0] == pytest.approx(near.u[:2, 0, 0], rel=0.05)


def test_many_sets_at_once_are_fitted_as_each_alone():
    readings = simulate("easing", BLADES_MM, 30, seed=5, with_tip=True)
    together = fit_curves(readings, list(CURVES))
    for i in range(30):
        alone = fit_curves(readings.take(np.array([i])), list(CURVES))
        assert (alone.status[:, 0] == together.status[:, i]).all()
        fitted = alone.status[:, 0] == FITTED
        assert alone.chi_square[fitted, 0] == pytest.approx(
            together.chi_square[fitted, i], rel=1e-7, abs=1e-9
        )


def test_padding_and_the_order_of_readings_change_nothing():
    readings = simulate("arc", BLADES_MM, 1, seed=7, with_tip=False)
    plain = fit_curves(readings, ["arc", "easing"])
    order = np.array([3, 0, 6, 1, 5, 2, 4])
    padded = ReadingArrays(
        *(
            np.concatenate([getattr(readings, name)[order], getattr(readings, name)[:1]])
            for name in ("gap", "position", "gap_u", "position_u", "present")
        ),
        readings.tip, readings.tip_u, readings.tip_in,
    )  # fmt: skip
    padded.present[-1] = 0.0
    padded.position[-1] = 1e3
    shuffled = fit_curves(padded, ["arc", "easing"])
    assert shuffled.values == pytest.approx(plain.values, rel=1e-6)
    assert (shuffled.dof == plain.dof).all()


def test_with_as_many_parameters_as_readings_there_is_nothing_to_judge_by():
    readings = lay_out(BLADES_MM[[0, 4]], [18.0, 6.0])
    fits = fit_curves(readings, list(CURVES))
    assert fits.status[:2, 0].tolist() == [FITTED, FITTED]
    assert fits.dof[:2, 0].tolist() == [0, 0]
    assert np.isnan(fits.p[:2, 0]).all()
    assert fits.chi_square[0, 0] < 1e-12
    assert (fits.status[2:, 0] == TOO_FEW).all()


def test_an_ellipse_is_left_out_where_the_readings_flatten_toward_the_tip():
    flat = CURVES["straight_tip"].position_of(USUAL["straight_tip"], BLADES_MM)
    assert fit_curves(lay_out(BLADES_MM, flat), ["ellipse"]).status[0, 0] == UNREAL


@pytest.mark.parametrize("key", ["straight_tip", "two_arcs"])
def test_no_join_is_found_on_a_plain_arc(key):
    position = CURVES["arc"].position_of(USUAL["arc"], BLADES_MM)
    assert fit_curves(lay_out(BLADES_MM, position), [key]).status[0, 0] == UNREAL


def cover(key, gap, *, with_tip, sets=5000):
    """Count how often each 95 % interval holds the truth, in per cent."""
    curve, truth = CURVES[key], USUAL[key]
    fits = fit_curves(simulate(key, gap, sets, seed=20261125, with_tip=with_tip), [key])
    fitted = np.flatnonzero(fits.status[0] == FITTED)
    quantities = {
        name: (fits.values[i, 0], fits.u[i, 0], truth[name])
        for i, name in enumerate(curve.parameter_names)
    }
    tip = float(curve.gap_at(truth, 0.0))
    quantities["tip_opening_mm"] = (fits.tip_opening[0], fits.tip_opening_u[0], tip)
    held = {}
    for name, (values, u, true) in quantities.items():
        ends = [
            interval_95(v, s, STRAIGHT_POWER.get(name, 1.0))
            for v, s in zip(values[fitted].tolist(), u[fitted].tolist(), strict=True)
        ]
        held[name] = 100 * np.mean([low <= true <= (high or np.inf) for low, high in ends])
    p_below = 100 * np.mean(fits.p[0][fitted] < 0.05)
    return len(fitted), held, p_below


@pytest.mark.parametrize("with_tip", [False, True])
@pytest.mark.parametrize("gap", [FOUR_BLADES_MM, BLADES_MM[:6]], ids=["4 blades", "6 blades"])
def test_95_per_cent_limits_of_an_arc_hold_the_truth_in_93_to_97_per_cent(gap, with_tip, capsys):
    fitted, held, p_below = cover("arc", gap, with_tip=with_tip)
    with capsys.disabled():
        told = ", ".join(f"{name} {share:.1f} %" for name, share in held.items())
        print(f"\n5,000 sets, {len(gap)} blades{', tip' if with_tip else ''}: {told}")
    assert fitted == 5000
    for name in ("break_mm", "radius_mm", "tip_opening_mm"):
        assert 93.0 <= held[name] <= 97.0
    assert 4.0 <= p_below <= 6.5, "p must be below 0.05 in 5 of 100 when the curve is true"


@pytest.mark.parametrize("key", ["parabola", "ellipse", "straight_tip", "easing"])
def test_95_per_cent_limits_of_the_other_curves_hold_the_truth_about_as_often(key):
    fitted, held, p_below = cover(key, BLADES_MM, with_tip=True, sets=2000)
    assert fitted > 1900
    assert all(92.0 <= share <= 98.0 for share in held.values()), held
    assert 3.5 <= p_below <= 7.0


def test_the_fit_with_a_tip_takes_its_reading_in_the_gap():
    readings = simulate("arc", FOUR_BLADES_MM, 1, seed=3, with_tip=True)
    sure = fit_curves(replace(readings, tip_u=np.full(1, 1e-5)), ["arc"])
    assert sure.tip_opening[0, 0] == pytest.approx(readings.tip[0], abs=1e-5)
    unsure = fit_curves(replace(readings, tip_u=np.full(1, 100.0)), ["arc"])
    without = fit_curves(replace(readings, tip_in=np.zeros(1)), ["arc"])
    assert unsure.values[:2, 0, 0] == pytest.approx(without.values[:2, 0, 0], rel=1e-6)
