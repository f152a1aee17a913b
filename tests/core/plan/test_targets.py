"""A target as typed: what is taken, what is refused beside which field, how it is told."""

import re
from dataclasses import replace
from datetime import date

import pytest

from app.core.facing.measurements import Blade, GaugesInUse, ReadingEntry, facing_of, parse_set
from app.core.plan.facings import FacingTolerance, PlainFacing, even_up, place_blades
from app.core.plan.targets import (
    even_up_entries,
    format_stop,
    list_target_rows,
    parse_facing,
    tell_target,
    tell_tolerance,
)
from app.core.values.forms import Refused
from app.core.values.units import SCALES
from tests.core.planning import BLADES_MM
from tests.lines import CLOSE_LINE, OPEN_LINE

TODAY = date(2026, 11, 25)
# gauge ids 1 to 4, thick to thin, as the grid has them
GAUGES = GaugesInUse(
    blades=tuple(Blade(at + 1, gap) for at, gap in enumerate(sorted(BLADES_MM, reverse=True))),
    glass=SCALES["glass_half_mm"],
    tip=SCALES["tip_mm"],
    bore=SCALES["bore_in"],
)
BY_READINGS = {
    "name": "Shop five",
    "instrument_kind": "clarinet_bb",
    "told_by": "readings",
    "line": OPEN_LINE,
    "position_tolerance": "0.5",
    "tip_tolerance": "0,02",
    "gap_tolerance": "",
}
PLAIN = {**BY_READINGS, "told_by": "plain", "line": "", "length": "36", "tip_opening": "1.10"}


def parse(raw, copied=(), gauges=GAUGES):
    return parse_facing(raw, gauges, TODAY, copied)


def read_set(line):
    return parse_set({"line": line, "role": "reference"}, GAUGES, "other", TODAY).entry.readings


def test_a_facing_by_readings_keeps_its_numbers_as_typed():
    entry = parse({**BY_READINGS, "line": "35.5 24½ 13.5/12.5 6.5 / 1,13 / 0.591"})
    typed = {one.typed for one in entry.readings}
    assert typed == {"1,13", "12.5", "13.5", "24½", "35.5", "6.5"}
    assert entry.tolerance == FacingTolerance(0.5, 0.02, None)
    target = entry.target
    assert [stop.position_mm for stop in target.left] == [3.25, 6.75, 12.25, 17.75]
    assert [stop.position_mm for stop in target.right] == [3.25, 6.25, 12.25, 17.75]
    assert target.tip_opening_mm == pytest.approx(1.13)


def test_a_plain_facing_is_read_with_the_thinnest_blade_of_its_set():
    straight = PlainFacing(18.0, 1.10, "straight_tip", 0.0381, 2.5)
    (placed,) = place_blades(straight, [GAUGES.blades[1].gap_mm])
    third = {"third_blade": "2", "third_stop": f"{placed.left_mm:.5f} mm"}
    entry = parse({**PLAIN, "curve": "straight_tip", **third})
    assert entry.target == replace(
        straight, tip_opening_mm=pytest.approx(1.10), length_gap_mm=pytest.approx(0.0381),
        shape=pytest.approx(2.5, abs=0.01),
    )  # fmt: skip
    arc = parse(PLAIN)
    assert arc.curve == "arc"
    assert arc.shape is None


def test_a_length_in_mm_or_a_tip_in_inches_is_taken_with_its_unit():
    entry = parse({**PLAIN, "length": "18 mm", "tip_opening": "0.043 in"})
    assert entry.target.facing_length_mm == pytest.approx(18.0)
    assert entry.target.tip_opening_mm == pytest.approx(1.0922)


def test_a_copy_takes_over_blades_and_tip_and_leaves_the_bore():
    entry = parse(
        {**BY_READINGS, "told_by": "copy", "line": ""}, read_set("33.5 21.5 11.5 5.5 / 1.05 / .591")
    )
    assert {one.quantity for one in entry.readings} == {"blade", "tip"}
    assert tell_target(entry.target, GAUGES) == CLOSE_LINE


REFUSED = {
    "no name": ({**BY_READINGS, "name": " "}, "name"),
    "no instrument": ({**BY_READINGS, "instrument_kind": "kazoo"}, "instrument_kind"),
    "not told": ({**BY_READINGS, "told_by": ""}, "told_by"),
    "no line": ({**BY_READINGS, "line": ""}, "line"),
    "a number short": ({**BY_READINGS, "line": "35.5 23.5 13.5 / 1.13"}, "line"),
    "words in the line": ({**BY_READINGS, "line": "36 24 long 7 / 1.10"}, "line"),
    "a facing that closes toward the tip": ({**BY_READINGS, "line": "36 24 25 7 / 1.1"}, "line"),
    "only a tip": ({**BY_READINGS, "line": "– – – – / 1.10"}, "line"),
    "no length": ({**PLAIN, "length": ""}, "length"),
    "no tip": ({**PLAIN, "tip_opening": ""}, "tip_opening"),
    "a closed tip": ({**PLAIN, "tip_opening": "0.03"}, "tip_opening"),
    "an unknown curve": ({**PLAIN, "curve": "spline"}, "curve"),
    "a shape out of range": ({**PLAIN, "curve": "ellipse", "third_stop": "1"}, "third_stop"),
    "a straight part longer than the facing": (
        {**PLAIN, "curve": "straight_tip", "third_stop": "35"},
        "third_stop",
    ),
    "a third point of an arc": ({**PLAIN, "third_stop": "12"}, "third_stop"),
    "too open for its length": (
        {**PLAIN, "length": "1", "tip_opening": "8", "curve": "two_arcs"},
        "length",
    ),
    "a tolerance in words": ({**BY_READINGS, "gap_tolerance": "little"}, "gap_tolerance"),
    "a tolerance wider than any piece": ({**BY_READINGS, "tip_tolerance": "2"}, "tip_tolerance"),
    "nothing to copy": ({**BY_READINGS, "told_by": "copy"}, "told_by"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_what_can_not_be_a_target_is_refused_beside_its_field(case):
    raw, field = REFUSED[case]
    found = parse(raw)
    assert isinstance(found, Refused)
    assert field in found.problems
    assert found.problems[field].strip().endswith(".")


def test_where_a_third_point_could_be_is_said_in_the_glass_s_numbers():
    raw = {**PLAIN, "curve": "ellipse"}
    words = parse({**raw, "third_stop": "1"}).problems["third_stop"]
    low, high = map(
        float, re.fullmatch(r".* it can stop from ([\d.]+) to ([\d.]+)\.", words).groups()
    )
    assert not isinstance(parse({**raw, "third_stop": f"{(low + high) / 2:.2f}"}), Refused)


def test_the_evened_numbers_are_those_of_the_rule_in_facings():
    readings = read_set("33.5/32.5 21.5/22 11.5/10.5 5.5/6 / 1.05")
    evened = facing_of(even_up_entries(readings))
    expected = even_up(facing_of(readings))
    assert set(evened.left) == set(expected.left)
    assert evened.left == evened.right
    assert evened.tip_opening_mm == expected.tip_opening_mm
    assert tell_target(evened, GAUGES) == "33.5 22 11.5 6 / 1.05"


def test_even_up_keeps_the_text_of_the_rail_that_rules():
    readings = (
        ReadingEntry("blade", "left", 4, 0.0381, None, "34", "glass_half_mm", 17.0),
        ReadingEntry("blade", "right", 4, 0.0381, None, "34 1/2", "glass_half_mm", 17.25),
    )
    assert [one.typed for one in even_up_entries(readings)] == ["34 1/2", "34 1/2"]


def test_a_plain_target_is_told_by_where_the_shops_blades_should_stop():
    line = tell_target(parse(PLAIN).target, GAUGES)
    assert line.startswith("36 ")
    assert line.endswith(" / 1.10")
    assert len(line.split()) == 6


def test_the_sheet_gives_any_blade_set_and_glass_their_own_numbers():
    target = parse(PLAIN).target
    rows = list_target_rows(target, FacingTolerance(0.5, None, None), GAUGES)
    assert [row.blade for row in rows] == ["0.0015 in", "0.010 in", "0.024 in", "0.034 in"]
    assert rows[0].left == rows[0].right == "36"
    assert (rows[0].low, rows[0].high) == ("35", "37")
    whole = GaugesInUse(
        (Blade(9, 1.27), *GAUGES.blades), SCALES["glass_mm"], SCALES["tip_thou"], GAUGES.bore
    )
    rows = list_target_rows(target, FacingTolerance(), whole)
    assert rows[0].left == "18"
    assert rows[0].low == ""
    # a blade thicker than the tip opening does not go in
    assert (rows[-1].blade, rows[-1].left, rows[-1].left_mm) == ("0.050 in", "", "")
    assert tell_target(target, whole).endswith(" – / 43.3")


@pytest.mark.parametrize(
    ("mm", "scale", "text"),
    [(18.0, "glass_half_mm", "36"), (15.61, "glass_half_mm", "31"), (12.16, "glass_mm", "12.25")],
)
def test_a_stop_is_written_to_the_step_the_glass_is_read_to(mm, scale, text):
    assert format_stop(mm, SCALES[scale]) == text


def test_tolerances_are_told_in_the_glasses_own_numbers():
    tolerance = FacingTolerance(0.5, 0.02, 0.01)
    assert tell_tolerance(tolerance, SCALES["glass_half_mm"]) == (
        "blades within ± 1 on the glass, tip within ± 0.02 mm, gap within ± 0.01 mm"
    )
    assert tell_tolerance(FacingTolerance(), SCALES["glass_mm"]) == ""
