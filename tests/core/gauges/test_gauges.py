"""Gauges and checks as typed, in inches and mm, and gauges in words."""

from datetime import date

import pytest

from app.core.gauges.blade_sets import FAMILIES, family_of, parse_blade_set, parse_families
from app.core.gauges.gauge_words import KeptCheck, describe_run, list_check_rows, say_size
from app.core.gauges.gauges import GAUGE_KINDS, CheckEntry, parse_check, parse_gauge
from app.core.gauges.sizes import GaugeFacts, SizeCheck
from app.core.values.customers import INSTRUMENT_KINDS
from app.core.values.forms import Refused
from app.core.values.units import SCALES

TODAY = date(2026, 11, 25)
BLADE, GLASS = GAUGE_KINDS["blade"], GAUGE_KINDS["glass"]


def blade_page(**typed):
    return {"label": "0.0015 in, second", "scale": "length_in", "nominal": "0.0015"} | typed


@pytest.mark.parametrize(
    ("typed", "nominal_mm"),
    [
        ({}, 0.0381),
        ({"nominal": "0,0015"}, 0.0381),
        ({"nominal": "0.04 mm"}, 0.04),
        ({"scale": "length_mm", "nominal": "0.04"}, 0.04),
        ({"scale": "length_mm", "nominal": '0.010"'}, 0.254),
    ],
)
def test_a_blade_s_thickness_is_read_in_its_unit_or_the_one_written_after_it(typed, nominal_mm):
    assert parse_gauge(blade_page(**typed), BLADE).nominal_mm == pytest.approx(nominal_mm)


def test_a_gauge_with_marks_takes_its_step_in_its_own_numbers():
    page = {"label": "old glass", "scale": "glass_half_mm", "resolution": "½"}
    assert parse_gauge(page, GLASS).resolution_mm == pytest.approx(0.25)
    assert parse_gauge(page | {"resolution": ""}, GLASS).resolution_mm == pytest.approx(0.25)


def test_every_problem_of_a_gauge_is_named_at_once():
    refused = parse_gauge(
        {"scale": "glass_mm", "nominal": "40", "tolerance": "9", "repeatability": "x"}, BLADE
    )
    assert isinstance(refused, Refused)
    assert set(refused.problems) == {"scale", "label", "nominal", "tolerance", "repeatability"}


def test_a_thickness_in_the_wrong_unit_is_asked_about():
    refused = parse_gauge(blade_page(scale="length_mm"), BLADE)
    assert "Is it in the other unit?" in refused.problems["nominal"]


def check_page(**typed):
    return {"actual": "0.0014", "unit": "length_in", "checked_on": "2026-05-03"} | typed


def read_check(**typed):
    return parse_check(check_page(**typed), BLADE, SCALES["length_in"], 0.0381, TODAY)


def test_a_check_keeps_the_text_and_takes_its_kind_s_sureness_if_none_is_written():
    entry = read_check()
    assert (entry.typed, entry.scale) == ("0.0014", "length_in")
    assert entry.actual_mm == pytest.approx(0.03556)
    assert entry.u_mm == 0.001
    assert read_check(u="0.0005").u_mm == 0.0005


@pytest.mark.parametrize(
    ("typed", "field", "words"),
    [
        ({"unit": "length_mm"}, "actual", "Is the unit right?"),
        ({"actual": ""}, "actual", "thickness you found"),
        ({"actual": "-0.001"}, "actual", "below zero"),
        ({"checked_on": "2027-01-01"}, "checked_on", "future"),
        ({"u": "0"}, "u", "How sure"),
        ({"unit": "cubit"}, "unit", "mm or inches"),
    ],
)
def test_a_check_that_cannot_be_is_refused_in_words(typed, field, words):
    assert words in read_check(**typed).problems[field]


def test_a_check_of_marks_says_which_mark_in_the_gauge_s_numbers():
    page = {"mark": "36", "actual": "17.95", "unit": "length_mm"}
    entry = parse_check(page, GLASS, SCALES["glass_half_mm"], None, TODAY)
    assert (entry.mark_mm, entry.actual_mm, entry.checked_on) == (18.0, 17.95, TODAY)
    far = parse_check(page | {"actual": "36"}, GLASS, SCALES["glass_half_mm"], None, TODAY)
    assert "further off than a glass can be" in far.problems["actual"]
    for mark in ("", "0"):
        none = parse_check(page | {"mark": mark}, GLASS, SCALES["glass_half_mm"], None, TODAY)
        assert "mark" in none.problems


def test_each_kind_of_instrument_has_one_family():
    for kind in INSTRUMENT_KINDS:
        assert sum(kind in family.kinds for family in FAMILIES.values()) == 1
        assert kind in FAMILIES[family_of(kind)].kinds


def test_a_blade_set_refuses_no_blades_unknown_ones_and_two_of_one_thickness():
    known = {1: 0.0381, 2: 0.254, 3: 0.0381}
    assert parse_blade_set({"name": "two"}, ["2", "1", "2"], known).gauge_ids == (2, 1)
    for ticked in ([], ["9"], ["1", "3"]):
        assert "blade" in parse_blade_set({"name": "two"}, ticked, known).problems
    assert "name" in parse_blade_set({}, ["1"], known).problems


def test_a_family_without_a_choice_is_read_with_the_usual_set():
    chosen = parse_families({"family_saxophones": "2", "family_clarinets": ""}, {1, 2})
    assert (chosen["saxophones"], chosen["clarinets"]) == (2, None)
    assert "family_others" in parse_families({"family_others": "7"}, {1, 2}).problems


def day(year):
    return date(year, 1, 1)


def kept(year, actual_mm, struck=False):
    entry = CheckEntry(
        day(year), "", None, f"{actual_mm:.4f}", "length_mm", actual_mm, 0.001, ""
    )  # fmt: skip
    return KeptCheck(year, entry, struck)


def test_each_standing_check_is_compared_with_the_one_before():
    blade = GaugeFacts(1, "blade", "0.0015 in", nominal_mm=0.0381)
    rows = list_check_rows(
        blade, [kept(2024, 0.0380), kept(2025, 0.020, struck=True), kept(2026, 0.0340)]
    )
    assert [row.change for row in rows[:2]] == ["", ""]
    assert rows[2].change == "−0.0040 ± 0.0028 mm: changed"
    assert rows[2].off == "−0.0041 mm"


def test_a_run_of_checks_says_whether_the_gauge_holds_its_size():
    def run(*thicknesses):
        checks = tuple(
            SizeCheck(day(2000 + year), None, value, 0.001)
            for year, value in enumerate(thicknesses)
        )
        return describe_run(GaugeFacts(1, "blade", "0.0015 in", nominal_mm=0.0381, checks=checks))

    assert run(0.0380).chart is None
    assert "it holds its size" in " ".join(run(0.0380, 0.0382, 0.0379).words)
    worn = " ".join(run(0.0380, 0.0370, 0.0355, 0.0341).words)
    # by hand: the slope is −0.0066/5 a year, its u 0.001/√5, over three years
    assert "it has become 0.0040 ± 0.0027 mm thinner" in worn
    assert "it has become 0.0030 ± 0.0028 mm thinner" in " ".join(run(0.0380, 0.0350).words)
    up_and_down = " ".join(run(0.0380, 0.0335, 0.0381).words)
    assert "though not steadily one way" in up_and_down
    assert "holds its size" not in up_and_down
    once = " ".join(run(0.0380, 0.0380, 0.0380, 0.0351, 0.0366).words)
    assert "no change that is sure" in once
    assert "4 checks only" in worn
    settled = [0.0380, 0.0381] * 10
    assert "stands outside the limits" in " ".join(run(*settled, 0.0340).words)


def test_marks_checked_on_one_day_are_one_value_of_the_run():
    checks = (
        SizeCheck(day(2024), 5.0, 5.02, 0.03),
        SizeCheck(day(2024), 20.0, 20.04, 0.03),
        SizeCheck(day(2025), 20.0, 20.05, 0.03),
    )
    glass = GaugeFacts(1, "glass", "glass", scale="glass_half_mm", checks=checks)
    assert describe_run(glass).values_mm == pytest.approx((0.03, 0.05))
    assert say_size(glass, TODAY) == (
        "shows 0.050 mm too little at 40, and as much everywhere; checked 1 January 2025"
    )
