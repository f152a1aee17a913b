"""Which dial or calliper was used reaches the value, its uncertainty, and the fit."""

from dataclasses import replace
from datetime import date
from math import hypot, sqrt

import pytest

from app.core.compare.length_words import list_lengths
from app.core.compare.size_words import list_gauge_lines, list_uncertainties
from app.core.facing.corrections import correct_readings
from app.core.facing.dials import dial_stops_of
from app.core.gauges.hand_gauges import HandGauge, gauge_cells, name_gauges
from app.core.gauges.sizes import GaugeFacts, SetSizes, SizeCheck, StudiedRepeat, hold_register
from app.core.values.forms import Fields
from app.core.values.readings import ReadingEntry, Uncertainties

DAY = date(2026, 6, 10)
DIAL, CALLIPER = 21, 22
HANDS = (
    HandGauge(DIAL, "dial", "dial on the stand"),
    HandGauge(CALLIPER, "calliper", "calliper, inside jaws"),
)


def dial(gap_mm=0.5, gauge_id=DIAL, rail="left"):
    return ReadingEntry(
        "dial", rail, gauge_id, None, 6.0, f"{gap_mm:g}", "length_mm", gap_mm, "", "6"
    )


def width(typed="1.10", value=1.10, gauge_id=CALLIPER):
    return ReadingEntry("tip_rail_width", "", gauge_id, None, None, typed, "length_mm", value)


def sizes(*gauges):
    return SetSizes(DAY, hold_register(gauges))


def dial_gauge(*checks, **more):
    facts = GaugeFacts(DIAL, "dial", "dial", scale="length_mm", resolution_mm=0.002)
    return replace(facts, checks=checks, **more)


def test_a_dial_s_fit_uncertainty_is_the_sum_of_squares_of_its_step_study_and_check():
    # GUM 4.3.7: a step of 0.002 mm is ± 0.001 mm, all values alike: 0.001/√3 = 0.000 577 mm.
    # With a study of 0.003 mm and a check sure to 0.001 mm, by hand:
    # √(0.000 577² + 0.003² + 0.001²) = √(0.333 + 9 + 1)·10⁻³ = 0.003 215 mm
    study = StudiedRepeat(date(2026, 1, 1), 0.003, 12.0)
    check = SizeCheck(date(2026, 2, 1), 0.5, 0.52, 0.001)
    told = correct_readings([dial()], sizes(dial_gauge(check, studies=(study,))))
    (reading,) = told.facing.dial_left
    assert reading.gap_mm == pytest.approx(0.52)
    assert reading.gap_u_mm == pytest.approx(0.003215, abs=2e-6)
    (stop,) = dial_stops_of(told.facing, Uncertainties())["left"]
    assert (stop.gap_mm, stop.gap_u_mm) == (reading.gap_mm, reading.gap_u_mm)
    assert told.recorded_facing.dial_left[0].gap_mm == 0.5
    assert told.uncertainties.dial_gap_mm == reading.gap_u_mm


def test_a_dial_that_is_not_named_keeps_the_usual_uncertainty_and_its_word():
    told = correct_readings([dial(gauge_id=None)], sizes(dial_gauge()))
    assert told.facing.dial_left[0].gap_u_mm is None
    assert told.uncertainties == Uncertainties()


def test_a_check_of_a_dial_after_the_day_is_shown_beside_the_value_in_use():
    later = SizeCheck(date(2026, 9, 1), 0.5, 0.47, 0.002)
    told = correct_readings([dial()], sizes(dial_gauge(later)))
    assert told.facing.dial_left[0].gap_mm == 0.5
    assert told.later_facing.dial_left[0].gap_mm == pytest.approx(0.47)
    assert not told.differs


@pytest.mark.parametrize(
    ("typed", "value", "step"),
    [("1.10", 1.10, 0.02), ("1.1", 1.1, 0.1), ("1.104", 1.104, 0.02)],
)
def test_a_length_by_calliper_is_as_sure_as_its_step_and_what_was_written(typed, value, step):
    # without a study half a step is assumed: u² = (step/2)²/3 + (step/2)²
    calliper = GaugeFacts(CALLIPER, "calliper", "c", scale="length_mm", resolution_mm=0.02)
    readings = [width(typed, value)]
    told = correct_readings(readings, sizes(calliper))
    (length,) = list_lengths(readings, told.in_force)
    assert length.u_mm == pytest.approx(hypot(step / 2 / sqrt(3), step / 2))


def test_worn_jaws_correct_a_length_and_stand_among_the_gauges_of_the_set():
    worn = SizeCheck(date(2026, 1, 1), 10.0, 10.06, 0.01)
    calliper = GaugeFacts(
        CALLIPER, "calliper", "inside jaws", scale="length_mm", resolution_mm=0.01, checks=(worn,)
    )
    readings = (width(), dial())
    known = sizes(calliper, dial_gauge())
    told = correct_readings(readings, known)
    length = list_lengths(readings, told.in_force)[0]
    assert length.reading.value_mm == pytest.approx(1.16)
    assert readings[0].value_mm == 1.10
    assert [line.name for line in list_gauge_lines(readings, known)] == ["inside jaws", "dial"]
    assert [row.what for row in list_uncertainties(readings, known)] == [
        "Length by calliper",
        "Gap by dial",
    ]


def test_what_the_page_says_was_used_is_noted_on_what_it_was_used_for():
    fields = Fields({"dial_gauge": str(DIAL), "calliper": str(CALLIPER)})
    bore = ReadingEntry("bore", "", None, None, 10.0, "0.591", "bore_in", 15.01)
    typed = [dial(gauge_id=None), width(gauge_id=None), bore]
    noted = name_gauges(fields, typed, HANDS)
    assert [one.gauge_id for one in noted] == [DIAL, CALLIPER, None]
    assert gauge_cells(noted) == {"dial_gauge": str(DIAL), "calliper": str(CALLIPER)}
    assert not fields.problems
    none = name_gauges(Fields({"dial_gauge": ""}), typed, HANDS)
    assert [one.gauge_id for one in none] == [None, None, None]


def test_a_gauge_that_is_not_in_the_register_or_of_another_kind_is_refused():
    for chosen in ("99", str(CALLIPER), "the old one"):
        fields = Fields({"dial_gauge": chosen})
        name_gauges(fields, [dial(gauge_id=None)], HANDS)
        assert fields.problems == {"dial_gauge": "Choose a dial from the list."}
