"""Dial readings in the fit: weighed by their gap, checked against a fit made in the gap."""

import numpy as np
import pytest
from scipy.optimize import curve_fit

from app.core.facing.analysis import MalformedReading, analyse_facing
from app.core.facing.curves import CURVES
from app.core.facing.dials import list_dial_places, say_dials
from app.core.values.readings import BladeStop, DialReading, FacingReadings, Uncertainties
from tests.core.facing.simulated import position_of

U = Uncertainties()
TRUTH = {"break_mm": 22.2, "radius_mm": 214.0}
BLADES_MM = (0.8636, 0.6096, 0.254, 0.0381)
PLACES_MM = (2.0, 4.0, 6.0, 8.0, 10.0, 12.0, 14.0, 16.0, 18.0)


def gap(position_mm: float) -> float:
    return float(CURVES["arc"].gap_at(TRUTH, position_mm))


def blades(shift_mm: float = 0.0) -> tuple[BladeStop, ...]:
    arc = CURVES["arc"]
    return tuple(
        BladeStop(each, float(position_of(arc, TRUTH, each)) + shift_mm) for each in BLADES_MM
    )


def dials(shift_mm: float = 0.0, places: tuple[float, ...] = PLACES_MM) -> tuple[DialReading, ...]:
    return tuple(DialReading(place, gap(place) + shift_mm) for place in places)


def test_exact_dial_readings_alone_give_the_curve_back():
    left = analyse_facing(FacingReadings(dial_left=dials())).left
    assert left is not None
    assert left.chosen == "arc"
    fit = left.fit("arc")
    assert fit is not None
    assert fit.parameters["break_mm"] == pytest.approx(22.2, abs=1e-6)
    assert fit.parameters["radius_mm"] == pytest.approx(214.0, rel=1e-6)
    assert all(stop.dial for stop in left.stops)


def test_a_fit_to_noisy_dials_agrees_with_scipy_fitting_the_gap():
    # an independent way: least squares in the gap, the position taken as exact
    rng = np.random.default_rng(20261125)
    noisy = tuple(
        DialReading(one.position_mm, one.gap_mm + rng.normal(0, 0.005)) for one in dials()
    )
    close = Uncertainties(dial_position_mm=1e-4)
    left = analyse_facing(FacingReadings(dial_left=noisy), close, curves=["arc"], tip="out").left
    assert left is not None
    fit = left.fit("arc")
    assert fit is not None

    def arc(s, break_mm, radius_mm):
        u = np.maximum(break_mm - s, 0.0)
        return radius_mm - np.sqrt(radius_mm**2 - u**2)

    used = [one for one in noisy if one.gap_mm >= 0.025]
    values, covariance = curve_fit(
        arc, [one.position_mm for one in used], [one.gap_mm for one in used],
        p0=(21.0, 200.0), sigma=np.full(len(used), 0.005), absolute_sigma=True,
    )  # fmt: skip
    for name, value, u in zip(
        ("break_mm", "radius_mm"), values, np.sqrt(np.diag(covariance)), strict=True
    ):
        assert abs(fit.parameters[name] - value) < 0.2 * u
        assert fit.uncertainties[name] == pytest.approx(u, rel=0.05)


def test_blades_and_dials_together_are_surer_than_either():
    def break_u(facing: FacingReadings) -> float:
        fit = analyse_facing(facing, curves=["arc"], tip="out").left
        assert fit is not None
        found = fit.fit("arc")
        assert found is not None
        return found.uncertainties["break_mm"]

    both = break_u(FacingReadings(left=blades(), dial_left=dials()))
    alone = break_u(FacingReadings(left=blades())), break_u(FacingReadings(dial_left=dials()))
    assert both < min(alone)


def test_the_truth_lies_in_the_95_percent_interval_as_often_as_said():
    rng = np.random.default_rng(7)
    arc, inside, refused, count = CURVES["arc"], 0, 0, 600
    for _ in range(count):
        stops = tuple(
            BladeStop(
                each,
                float(position_of(arc, TRUTH, each + rng.normal(0, U.gap_mm)))
                + rng.normal(0, U.position_mm),
            )
            for each in BLADES_MM
        )
        read = tuple(
            DialReading(
                place,
                gap(place + rng.normal(0, U.dial_position_mm)) + rng.normal(0, U.dial_gap_mm),
            )
            for place in PLACES_MM
        )
        found = analyse_facing(
            FacingReadings(left=stops, dial_left=read), curves=["arc"], tip="out"
        ).left
        assert found is not None
        fit = found.fit("arc")
        assert fit is not None
        low, high = fit.interval_95["break_mm"]
        inside += low <= TRUTH["break_mm"] and (high is None or TRUTH["break_mm"] <= high)
        refused += fit.refused
    print(f"inside {100 * inside / count:.1f} %, refused {100 * refused / count:.1f} %")
    # 600 trials of 95 %: ± 1.8 points is two standard deviations
    assert 0.93 <= inside / count <= 0.97
    assert refused / count <= 0.08


def test_dials_that_contradict_the_blades_are_shown_and_not_weighed():
    facing = FacingReadings(left=blades(), dial_left=dials(shift_mm=0.08))
    found = analyse_facing(facing)
    assert found.left is not None
    assert found.left.chosen == "arc"
    assert not any(stop.dial for stop in found.left.stops)
    places = list_dial_places(facing, found.left, found.right)
    residuals = [one.left_residual_um for one in places]
    assert residuals == pytest.approx([80.0] * len(PLACES_MM), abs=1.0)
    (words,) = say_dials(facing, found.left, found.right)
    assert "does not agree with the blades" in words


def test_the_tip_rail_and_the_table_are_shown_and_not_weighed():
    facing = FacingReadings(dial_left=dials(places=(0.0, *PLACES_MM, 21.5, 25.0)))
    found = analyse_facing(facing)
    assert {one.position_mm for one in list_dial_places(facing, found.left, found.right)} == {
        0.0, *PLACES_MM, 21.5, 25.0
    }  # fmt: skip
    assert found.left is not None
    assert {stop.position_mm for stop in found.left.stops if stop.dial} == set(PLACES_MM)


def test_rails_are_compared_where_both_were_read():
    facing = FacingReadings(
        dial_left=dials(), dial_right=(DialReading(4.0, gap(4.0) + 0.03), DialReading(5.0, 0.7))
    )
    found = analyse_facing(facing)
    rows = {one.position_mm: one for one in list_dial_places(facing, found.left, found.right)}
    assert rows[4.0].difference_um == pytest.approx(30.0)
    assert rows[4.0].u_um == pytest.approx(2 * 5.0 * 2**0.5)
    assert rows[5.0].difference_um is None
    assert rows[2.0].right_mm is None


def test_the_mean_of_both_rails_takes_the_places_both_have():
    found = analyse_facing(FacingReadings(dial_left=dials(0.004), dial_right=dials(-0.004)))
    assert found.mean is not None
    fit = found.mean.fit("arc")
    assert fit is not None
    assert fit.parameters["radius_mm"] == pytest.approx(214.0, rel=1e-6)
    assert found.evenness == ()


def test_a_dial_has_no_facing_length_of_its_own():
    only_dials = analyse_facing(FacingReadings(dial_left=dials())).left
    assert only_dials is not None
    assert all(fit.facing_length_mm is None for fit in only_dials.fits)
    with_blades = analyse_facing(FacingReadings(left=blades(), dial_left=dials())).left
    assert with_blades is not None
    fit = with_blades.fit("arc")
    assert fit is not None
    assert fit.facing_length_mm == pytest.approx(blades()[-1].position_mm, abs=1e-6)


def test_readings_without_a_dial_are_judged_as_before():
    plain = FacingReadings(left=blades(0.1), right=blades(), tip_opening_mm=1.06)
    assert analyse_facing(plain).left is not None
    assert not any(stop.dial for stop in analyse_facing(plain).left.stops)


@pytest.mark.parametrize("bad", [float("nan"), float("inf")])
def test_a_dial_number_that_is_none_is_refused_by_field(bad):
    with pytest.raises(MalformedReading) as caught:
        analyse_facing(FacingReadings(dial_right=(DialReading(2.0, bad),)))
    assert caught.value.field == "dial_right.0.gap_mm"


@pytest.mark.parametrize(
    "readings",
    [
        (DialReading(5.0, 0.0),),
        (DialReading(5.0, 0.5), DialReading(5.0, 0.5)),
        tuple(DialReading(place, 0.5) for place in PLACES_MM),
        tuple(DialReading(place, gap(24.0 - place)) for place in PLACES_MM),
        tuple(DialReading(place, -0.05) for place in PLACES_MM),
    ],
)
def test_bad_material_gives_a_clear_answer_and_no_crash(readings):
    found = analyse_facing(FacingReadings(dial_left=readings, tip_opening_mm=1.0)).left
    assert found is None or found.judgement in {"chosen", "none fits", "cannot be judged"}
