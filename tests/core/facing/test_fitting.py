"""Fits: what they recover, what they agree with, and how often their limits hold the truth."""

from itertools import pairwise

import numpy as np
import pytest
from scipy.optimize import brentq, least_squares

from app.core.facing.curves import CURVES
from app.core.facing.fits import STRAIGHT_POWER, CurveFit
from app.core.facing.fitting import (
    TOO_FEW,
    UNDETERMINED,
    UNREAL,
    Readings,
    find_gram,
    fit_curves,
    lay_out,
    minimise,
    model_of,
)
from app.core.values.readings import BladeStop, Uncertainties
from app.core.values.uncertainty import interval_95
from tests.core.facing.simulated import (
    BLADES_MM,
    FOUR_BLADES_MM,
    position_of,
    read_five_shapes,
    read_stops,
)
from tests.core.facing.test_curves import EVERY_CURVE, USUAL
from tests.core.facing.textbook_fits import FORMULAS, fit_textbook

U = Uncertainties()

# shapes strong enough for seven blades to tell them from an arc
STRONG = USUAL | {
    "ellipse": {"break_mm": 24.0, "half_length_mm": 26.0, "half_height_mm": 3.5},
    "easing": {"break_mm": 24.0, "curvature_per_mm": 2e-3, "curvature_rate_per_mm2": 8e-4},
}


def fit(key, stops, tip=None):
    """Fit one curve: its fit, or why there is none."""
    return fit_curves(lay_out(stops, tip, U), [key])[key]


def lie_on(key, blades_mm=BLADES_MM, truth=None, off_mm=0.0):
    """Give stops exactly on a known curve, or off it by as much, and the curve's tip."""
    curve, truth = CURVES[key], truth or USUAL[key]
    read = position_of(curve, truth, blades_mm) + off_mm
    return tuple(map(BladeStop, blades_mm.tolist(), read.tolist())), float(curve.gap_at(truth, 0.0))


def simulate(key, blades_mm, count, seed, *, with_tip, truths=USUAL):
    """Read a known facing many times; give the stops and the tip, or None."""
    rng, curve, truth = np.random.default_rng(seed), CURVES[key], truths[key]
    opening = float(curve.gap_at(truth, 0.0))
    for _ in range(count):
        stops = read_stops(curve, truth, blades_mm, rng)
        yield stops, (opening + 0.01 * rng.standard_normal(), 0.01) if with_tip else None


@EVERY_CURVE
@pytest.mark.parametrize("with_tip", [False, True])
def test_without_noise_a_fit_recovers_its_curve_to_a_millionth(key, with_tip):
    stops, tip = lie_on(key)
    found = fit(key, stops, (tip, 0.01) if with_tip else None)
    assert found.parameters == pytest.approx(USUAL[key], rel=1e-6)
    assert found.chi_square < 1e-10
    assert found.tip_opening_mm == pytest.approx(tip, rel=1e-6)
    assert found.facing_length_mm == pytest.approx(stops[0].position_mm, rel=1e-9)


@EVERY_CURVE
def test_a_fit_agrees_with_curve_fit_to_a_small_part_of_its_uncertainty(key):
    """An independent solver, textbook formulas, numerical derivatives."""
    compared = 0
    for stops, _ in simulate(key, BLADES_MM, 20, seed=11, with_tip=False, truths=STRONG):
        found = fit(key, stops)
        if not isinstance(found, CurveFit):
            continue
        values, u = (
            np.array(list(each.values())) for each in (found.parameters, found.uncertainties)
        )
        if (u > 0.6 * np.abs(values)).any():
            continue  # nothing to agree on where the readings hardly tell
        theirs, their_u, chi_square = fit_textbook(
            key, BLADES_MM, np.array([stop.position_mm for stop in stops]),
            np.full(len(stops), 0.003), np.full(len(stops), 0.15), values * 1.001,
            precision=1e-14, settled=1e-9, passes=60,
        )  # fmt: skip
        assert (np.abs(values - theirs) < 1e-4 * u).all()
        assert u == pytest.approx(their_u, rel=1e-4)
        assert found.chi_square == pytest.approx(chi_square, rel=1e-6, abs=1e-9)
        compared += 1
    assert compared >= 5


def residuals_by_the_book(key, stops, tip, weighed_with):
    """Give the weighed residuals as a function of the parameters people know."""
    gap, position = np.array([(stop.gap_mm, stop.position_mm) for stop in stops]).T

    def residuals(parameters):
        off = position - FORMULAS[key](gap, *parameters)
        at_tip = brentq(lambda h: FORMULAS[key](h, *parameters), 0.6 * tip[0], 1.3 * tip[0])
        return np.append(off, tip[0] - at_tip) / weighed_with

    return residuals


@pytest.mark.parametrize("blades_mm", [FOUR_BLADES_MM, BLADES_MM[:6]], ids=["4", "6"])
def test_with_the_tip_in_a_fit_is_where_scipys_least_squares_ends_for_its_weights(blades_mm):
    """The tip is read in the gap: scipy finds it there by inverting the textbook formula."""
    compared = 0
    for key, _, stops, tip in read_five_shapes(20, 5, blades_mm, spread=0.08):
        found = fit(key, stops, tip)
        if not isinstance(found, CurveFit) or found.dof == 0:
            continue
        values, u = np.array(list(found.parameters.values())), list(found.uncertainties.values())
        with np.errstate(invalid="ignore"):
            theirs = least_squares(
                residuals_by_the_book(key, stops, tip, np.array(found.residual_u)),
                values + 0.05 * np.array(u), x_scale=u, method="lm", xtol=1e-12, ftol=1e-12,
            )  # fmt: skip
        assert (np.abs(values - theirs.x) < 1e-3 * np.array(u)).all()
        assert found.chi_square == pytest.approx(2 * theirs.cost, abs=1e-6)
        compared += 1
    assert compared >= 12


@EVERY_CURVE
def test_from_the_truth_no_better_end_is_reached(key):
    """What a fit finds from the readings alone is as good as what it finds knowing the truth."""
    curve, truth = CURVES[key], STRONG[key]
    b, shape = curve.internal(truth)
    for stops, tip in simulate(key, BLADES_MM, 60, seed=3, with_tip=True, truths=STRONG):
        found = fit(key, stops, tip)
        evaluate = model_of(curve, lay_out(stops, tip, U))
        knowing = minimise(evaluate, (b, *shape)[: curve.free])
        if knowing is not None and isinstance(found, CurveFit):
            assert found.chi_square <= knowing[1] + 0.01
        else:
            assert knowing is None or found in {UNREAL, UNDETERMINED}


@EVERY_CURVE
def test_the_jacobian_is_that_of_the_residuals(key):
    curve = CURVES[key]
    stops, tip = lie_on(key)
    b, shape = curve.internal(USUAL[key])
    internal = np.array((b, *shape)[: curve.free])
    evaluate = model_of(curve, lay_out(stops, (tip * 1.01, 0.01), U))
    rows, _ = evaluate(internal.tolist())
    for i, value in enumerate(internal):
        step = 1e-6 * max(abs(value), 1e-4)
        ahead, behind = (evaluate((internal + side * step * np.eye(curve.free)[i]).tolist())[0]
                         for side in (1.0, -1.0))  # fmt: skip
        by_hand = [(a[-1] - z[-1]) / (2 * step) for a, z in zip(ahead, behind, strict=True)]
        assert [row[i] for row in rows] == pytest.approx(by_hand, rel=1e-5, abs=1e-6)


@EVERY_CURVE
def test_the_jacobian_of_what_is_reported_is_right(key):
    curve = CURVES[key]
    b, shape = curve.internal(USUAL[key])
    internal = np.array((b, *shape)[: curve.free])
    values, jacobian = curve.report(internal.tolist())
    assert values == pytest.approx(list(USUAL[key].values()), rel=1e-9)
    for i, value in enumerate(internal):
        step = np.eye(curve.free)[i] * 1e-6 * max(abs(value), 1e-4)
        ahead, behind = (np.array(curve.report((internal + s * step).tolist())[0]) for s in (1, -1))
        by_hand = (ahead - behind) / (2 * step[i])
        assert np.array(jacobian)[:, i] == pytest.approx(by_hand, rel=1e-5, abs=1e-7)


@pytest.mark.parametrize("with_tip", [False, True])
def test_chi_square_is_the_sum_of_squared_residuals_over_their_uncertainties(with_tip):
    for stops, tip in simulate("arc", BLADES_MM, 10, seed=2, with_tip=with_tip):
        found = fit("arc", stops, tip)
        count = len(BLADES_MM) + with_tip
        ratio = np.array(found.residuals) / np.array(found.residual_u)
        assert len(ratio) == count
        assert (ratio**2).sum() == pytest.approx(found.chi_square, rel=1e-12)
        assert found.dof == count - 2
        if tip:
            assert found.residuals[-1] == pytest.approx(tip[0] - found.tip_opening_mm, abs=1e-12)


def test_a_blade_is_weighed_by_its_reading_and_by_its_thickness_through_the_slope():
    ((stops, _),) = simulate("arc", BLADES_MM, 1, seed=2, with_tip=False)
    found = fit("arc", stops)
    radius = found.parameters["radius_mm"]
    slope = (radius - BLADES_MM) / np.sqrt(2 * radius * BLADES_MM - BLADES_MM**2)
    assert found.reach_per_gap == pytest.approx(slope, rel=1e-9)
    assert found.residual_u == pytest.approx(np.sqrt(0.15**2 + (slope * 0.003) ** 2), rel=1e-9)


def test_uncertainties_are_not_scaled_by_chi_square():
    """Weights are known: readings twice as far off leave the uncertainties as they are."""
    off = 0.2 * np.array([1, -1, 1, -1, 1, -1, 1])
    near, far = (fit("arc", lie_on("arc", off_mm=k * off)[0]) for k in (1, 2))
    assert far.chi_square > 3.5 * near.chi_square
    assert list(far.uncertainties.values()) == pytest.approx(
        list(near.uncertainties.values()), rel=0.05
    )


def test_the_order_of_readings_changes_nothing():
    ((stops, tip),) = simulate("arc", BLADES_MM, 1, seed=7, with_tip=True)
    for key in ("arc", "easing"):
        plain = fit(key, stops, tip)
        shuffled = fit(key, [stops[i] for i in (3, 0, 6, 1, 5, 2, 4)], tip)
        assert shuffled.parameters == pytest.approx(plain.parameters, rel=1e-6)
        assert shuffled.facing_length_mm == pytest.approx(plain.facing_length_mm)


def test_with_as_many_parameters_as_readings_there_is_nothing_to_judge_by():
    stops = (BladeStop(BLADES_MM[0], 18.0), BladeStop(BLADES_MM[4], 6.0))
    found = fit_curves(lay_out(stops, None, U), list(CURVES))
    for key in ("arc", "parabola"):
        assert (found[key].dof, found[key].p) == (0, None)
        assert found[key].chi_square < 1e-12
    assert {found[key] for key in CURVES if CURVES[key].free > 2} == {TOO_FEW}


def test_an_ellipse_is_left_out_where_the_readings_flatten_toward_the_tip():
    assert fit("ellipse", lie_on("straight_tip")[0]) == UNREAL


@pytest.mark.parametrize("key", ["straight_tip", "two_arcs"])
def test_no_join_is_found_on_a_plain_arc(key):
    assert fit(key, lie_on("arc")[0]) == UNREAL


def test_a_curve_that_would_dip_is_left_out():
    """Blades that stop further and further apart toward the tip: the gap would close again."""
    read = [BladeStop(gap, s) for gap, s in zip(BLADES_MM[:6], (18, 16, 14, 11, 7, 0), strict=True)]
    assert fit("easing", read) == UNREAL


def test_stepping_ends_where_the_gradient_does():
    ((stops, tip),) = simulate("two_arcs", BLADES_MM, 1, seed=9, with_tip=True, truths=STRONG)
    found, curve = fit("two_arcs", stops, tip), CURVES["two_arcs"]
    b, shape = curve.internal(found.parameters)
    gram = find_gram(model_of(curve, lay_out(stops, tip, U))((b, *shape)))
    gradient = [gram[i][-1] / np.sqrt(gram[i][i]) for i in range(curve.free)]
    assert gradient == pytest.approx([0.0] * curve.free, abs=1e-3)


def test_a_model_that_goes_nowhere_is_given_up():
    assert minimise(lambda parameters: None, [1.0]) is None  # noqa: ARG005
    assert minimise(lambda p: ([(1.0, p[0])], [1.0]) if p[0] > 0.5 else None, [2.0]) is None


def cover(key, blades_mm, *, with_tip, sets):
    """Count how often each 95 % interval holds the truth, in per cent."""
    curve, truth = CURVES[key], USUAL[key]
    truths = truth | {"tip_opening_mm": float(curve.gap_at(truth, 0.0))}
    fits = [
        found
        for stops, tip in simulate(key, blades_mm, sets, seed=20261125, with_tip=with_tip)
        if isinstance(found := fit(key, stops, tip), CurveFit)
    ]
    held = {}
    for name, true in truths.items():
        ends = [each.interval_95[name] for each in fits]
        held[name] = 100 * np.mean([low <= true <= (high or np.inf) for low, high in ends])
    return len(fits), held, 100 * np.mean([each.refused for each in fits])


@pytest.mark.parametrize("with_tip", [False, True])
@pytest.mark.parametrize("blades_mm", [FOUR_BLADES_MM, BLADES_MM[:6]], ids=["4", "6"])
def test_95_per_cent_limits_of_an_arc_hold_the_truth_in_93_to_97_per_cent(blades_mm, with_tip):
    fitted, held, refused = cover("arc", blades_mm, with_tip=with_tip, sets=3000)
    assert fitted == 3000
    for name in ("break_mm", "radius_mm", "tip_opening_mm"):
        assert 93.0 <= held[name] <= 97.0
    assert 3.8 <= refused <= 6.5, "p must be below 0.05 in 5 of 100 when the curve is true"


@pytest.mark.parametrize("key", ["parabola", "ellipse", "straight_tip", "easing"])
def test_95_per_cent_limits_of_the_other_curves_hold_the_truth_about_as_often(key):
    fitted, held, refused = cover(key, BLADES_MM, with_tip=True, sets=1000)
    assert fitted > 940
    assert all(92.0 <= share <= 98.0 for share in held.values()), held
    assert 3.0 <= refused <= 7.5


def test_limits_are_drawn_where_a_quantity_is_nearly_straight():
    ((stops, _),) = simulate("arc", BLADES_MM, 1, seed=1, with_tip=False)
    found = fit("arc", stops)
    radius, u = found.parameters["radius_mm"], found.uncertainties["radius_mm"]
    assert found.interval_95["radius_mm"] == interval_95(radius, u, STRAIGHT_POWER["radius_mm"])


def test_the_fit_with_a_tip_takes_its_reading_in_the_gap():
    ((stops, tip),) = simulate("arc", FOUR_BLADES_MM, 1, seed=3, with_tip=True)
    sure, unsure = (fit("arc", stops, (tip[0], u)) for u in (1e-5, 100.0))
    assert sure.tip_opening_mm == pytest.approx(tip[0], abs=1e-5)
    assert unsure.parameters == pytest.approx(fit("arc", stops).parameters, rel=1e-6)


def test_more_of_the_same_readings_halve_the_uncertainty_when_there_are_four_times_as_many():
    stops, _ = lie_on("arc")
    once, four_times = fit("arc", stops), fit("arc", stops * 4)
    for name, u in once.uncertainties.items():
        assert four_times.uncertainties[name] == pytest.approx(u / 2, rel=1e-6)


def test_readings_are_laid_out_with_the_uncertainties_they_bring():
    own, usual = BladeStop(0.254, 12.0, 0.004, 0.2), BladeStop(0.6096, 6.0)
    assert lay_out([own, usual], (1.1, 0.01), U) == Readings(
        ((0.254, 12.0, 0.004, 0.2), (0.6096, 6.0, 0.003, 0.15)), (1.1, 0.01)
    )
    counts = [lay_out([own, usual], tip, U).count for tip in (None, (1.1, 0.01))]
    assert all(later == earlier + 1 for earlier, later in pairwise(counts))
