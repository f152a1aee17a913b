"""Rails laid out as stations: by curve, from reading to reading, and on bad material."""

import numpy as np
import pytest

from app.core.facing.rails import judge_rail
from app.core.facing.stations import line_of_readings, make_stations, stop_blade
from app.core.plan.facings import PlainFacing
from app.core.values.readings import BladeStop, Uncertainties
from tests.core.planning import BLADES_MM, arc_gap, arc_stops, as_stops

STATIONS = make_stations(40.0, ())
USUAL = Uncertainties()
FACING = PlainFacing(18.0, 1.1)
STOPS = as_stops(BLADES_MM, arc_stops(FACING).tolist())
TIP = (1.1, 0.01)


def test_stations_hold_the_places_asked_for() -> None:
    stations = make_stations(40.0, [3.1234, 50.0, -1.0])
    assert stations[0] == 0.0
    assert stations[-1] == 40.0
    assert 3.1234 in stations
    assert (np.diff(stations) > 0).all()


def test_from_reading_to_reading_an_arc_is_kept_to_a_micrometre() -> None:
    line = line_of_readings(STOPS, TIP, None, USUAL, STATIONS)
    read = STATIONS <= 18.0
    assert line.gap_mm[read] == pytest.approx(arc_gap(FACING, STATIONS)[read], abs=1e-3)


def test_by_its_curve_an_arc_is_kept_exactly() -> None:
    judged = judge_rail(STOPS, TIP, USUAL)
    line = line_of_readings(STOPS, TIP, judged.fit(judged.chosen), USUAL, STATIONS)
    assert line.curve == "arc"
    assert line.gap_mm == pytest.approx(arc_gap(FACING, STATIONS), abs=1e-7)
    assert [line.stop(gap) for gap in BLADES_MM] == pytest.approx(arc_stops(FACING), abs=1e-4)


def test_the_tip_keeps_its_reading_where_it_stands_off_the_curve() -> None:
    judged = judge_rail(STOPS, (1.0, 0.01), USUAL)
    line = line_of_readings(STOPS, (1.0, 0.01), judged.fit(judged.chosen), USUAL, STATIONS)
    assert line.gap_mm[0] == pytest.approx(1.0)
    assert line.u_mm[0] == pytest.approx(0.01)
    assert (np.diff(line.gap_mm) <= 1e-12).all()


def test_a_tip_that_would_turn_the_rail_back_is_drawn_from_reading_to_reading() -> None:
    judged = judge_rail(STOPS, None, USUAL)
    line = line_of_readings(STOPS, (0.5, 0.01), judged.fit(judged.chosen), USUAL, STATIONS)
    assert line.curve is None
    assert (np.diff(line.gap_mm) <= 1e-12).all()


@pytest.mark.parametrize("by_curve", [True, False])
def test_the_uncertainty_of_the_gap_is_that_of_many_repeats(by_curve: bool) -> None:
    rng = np.random.default_rng(14)
    gaps = []
    for _ in range(400):
        noisy = as_stops(BLADES_MM, (arc_stops(FACING) + 0.15 * rng.standard_normal(4)).tolist())
        tip = (1.1 + 0.01 * rng.standard_normal(), 0.01)
        fit = judge_rail(noisy, tip, USUAL, way="in", curves=["arc"]).fits[0]
        line = line_of_readings(noisy, tip, fit if by_curve else None, USUAL, STATIONS)
        gaps.append(line.gap_mm)
    judged = judge_rail(STOPS, TIP, USUAL, way="in", curves=["arc"])
    line = line_of_readings(STOPS, TIP, judged.fits[0] if by_curve else None, USUAL, STATIONS)
    scatter = np.std(gaps, axis=0)
    places = [np.searchsorted(STATIONS, s) for s in arc_stops(FACING)[1:]]
    # blades are given as exact here, so their own tolerance of 3 µm is missing from the scatter
    expected = line.u_mm[places]
    assert (scatter[places] < 1.15 * expected).all()
    assert (scatter[places] > 0.6 * expected).all()


def test_a_blade_stops_at_the_first_place_too_narrow_for_it() -> None:
    stations = np.array([0.0, 1.0, 2.0, 3.0])
    assert stop_blade(stations, np.array([1.0, 0.25, 0.5, 0.0]), 0.36) == pytest.approx(0.8)
    assert stop_blade(stations, np.array([0.3, 0.2, 0.1, 0.0]), 0.36) is None
    assert stop_blade(stations, np.array([0.5, 0.5, 0.5, 0.5]), 0.36) == 3.0


BAD = {
    "one blade alone": ((BladeStop(0.0381, 17.0),), None, "at least two"),
    "no blade at all": ((), (1.0, 0.01), "at least two"),
    "all blades at one place": (as_stops(BLADES_MM, [9.0] * 4), None, "at least two"),
    "thin blade stops first": (as_stops(BLADES_MM, [3.0, 6.0, 9.0, 12.0]), None, "do not open"),
}


@pytest.mark.parametrize("case", BAD)
def test_readings_nothing_can_be_drawn_through_are_refused_in_words(case: str) -> None:
    stops, tip, words = BAD[case]
    with pytest.raises(ValueError, match=words):
        line_of_readings(stops, tip, None, USUAL, STATIONS)


def test_two_blades_at_one_place_still_make_a_falling_line() -> None:
    stops = as_stops(BLADES_MM, [17.0, 17.0, 6.0, 3.0])
    line = line_of_readings(stops, TIP, None, USUAL, STATIONS)
    assert (np.diff(line.gap_mm) <= 0.0).all()
    level = line_of_readings(as_stops([0.05, 0.05, 0.5], [17.0, 12.0, 6.0]), None, None, USUAL,
                             STATIONS)  # fmt: skip
    assert level.gap_mm[-1] == 0.0
