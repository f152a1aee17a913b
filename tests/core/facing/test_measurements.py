"""A reading set as typed: the grid, the notebook line, what is refused and what is asked."""

from dataclasses import replace
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.core.facing.measurements import (
    Blade,
    GaugesInUse,
    LineRefused,
    ParsedSet,
    parse_set,
    spread_line,
    write_line,
)
from app.core.values.units import SCALES

TODAY = date(2026, 11, 25)
BLADES = tuple(Blade(i, gap) for i, gap in enumerate((0.8636, 0.6096, 0.254, 0.0381), 1))
GAUGES = GaugesInUse(BLADES, SCALES["glass_half_mm"], SCALES["tip_mm"], SCALES["bore_in"])


def parse(**raw):
    return parse_set({"role": "as_received", **raw}, GAUGES, "clarinet_bb", TODAY)


def line_of(parsed, gauges=GAUGES):
    assert not parsed.problems
    return write_line(parsed.entry.facing, gauges)


@pytest.mark.parametrize(
    ("line", "kept"),
    [
        ("35.5 23.5 12.5 6.5 / 1.11", "35.5 23.5 12.5 6.5 / 1.11"),
        ("6.5 12.5 23.5 35.5 / 1.11", "35.5 23.5 12.5 6.5 / 1.11"),
        ("35.5/34.5 23.5 12.5 6.5/6 / 1.11", "35.5/34.5 23.5 12.5 6.5/6 / 1.11"),
        ("35.5 22 1/2 12.5 6.5 / 1,11", "35.5 22.5 12.5 6.5 / 1.11"),
        ("35.5 22½ 12.5 6.5 // 1.11", "35.5 22.5 12.5 6.5 / 1.11"),
        ("35.5 23.5 12.5 6.5", "35.5 23.5 12.5 6.5"),
        ("35.5 23.5 12.5 – / 1.11", "35.5 23.5 12.5 – / 1.11"),
        ("– 23.5 12.5 6.5", "– 23.5 12.5 6.5"),
        ("35.5 – 12.5/13 – / 1.11", "35.5 – 12.5/13 – / 1.11"),
        ("35.5 23.5 12.5 6.5 / 1.11 / 0.591", "35.5 23.5 12.5 6.5 / 1.11"),
    ],
)
def test_the_notebook_line_fills_the_grid(line, kept):
    assert line_of(parse(line=line)) == kept


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("35.5 23.5 12.5 / 1.11", "3 numbers for 4 blades"),
        ("36 13 24 7", "don't run one way"),
        ("35.5 23.5 12.5 6.5 / 1.11 / 0.591 / 3", "more than three parts"),
        ("36/ 24 13 7", "blade"),
        ("36 24 x3 7", "not a number"),
        ("hello", "1 number for 4 blades"),
    ],
)
def test_a_line_that_makes_no_sense_is_refused_in_words(line, words):
    assert words in parse(line=line).problems["line"]


def test_the_one_changed_last_holds_of_a_line_and_the_grid():
    line = "35.5 23.5 12.5 6.5"
    later_line = parse(line=line, b4_left="34.5", spread="34.5 23.5 12.5 6.5")
    assert line_of(later_line) == line
    assert later_line.cells["spread"] == line
    later_cell = parse(**{**later_line.cells, "b4_left": "34.5"})
    assert line_of(later_cell) == "34.5/35.5 23.5 12.5 6.5"
    assert line_of(parse(line=line, b4_left="30")) == line


def test_a_line_s_dash_empties_what_stood_in_the_cell():
    assert line_of(parse(line="35.5 23.5 – 6.5", b2_left="12", b2_right="12")) == "35.5 23.5 – 6.5"


def test_one_number_for_both_rails_is_read_once_and_two_are_not():
    line = "35.5 23.5 12.5 – / 1.11"
    assert parse(line=line).entry.read_once
    assert parse(line="35 1/2 23-1/2 12 1/2 6 1/2 / 1.11").entry.read_once
    assert not parse(line="35.5 23.5/23.5 12.5 6.5").entry.read_once
    assert not parse(b4_left="35.5", b4_right="35.5").entry.read_once
    spread = parse(line=line).cells
    assert parse(**spread).entry.read_once
    assert not parse(**{**spread, "b4_right": "35"}).entry.read_once


@pytest.mark.parametrize("line", ["35.5 23.5 12.5 6.5 1.11", "6.5 12.5 23.5 35.5 1.11"])
def test_a_slash_left_out_is_asked_about_and_a_yes_takes_the_tip(line):
    asked = parse(line=line)
    assert asked.asks
    assert "is it the tip opening" in asked.questions["line"]
    said = parse(line=line, asked=asked.token)
    assert not said.asks
    assert line_of(said) == "35.5 23.5 12.5 6.5 / 1.11"


@pytest.mark.parametrize(
    ("cell", "typed", "meant"),
    [
        ("tip", "111", "Was 1.11 meant?"),
        ("tip", "11.1", "Was 1.11 meant?"),
        ("tip", "40000", "no tip opens so far."),
        ("b4_left", "355", "Was 35.5 meant?"),
        ("b4_left", "9000", "beyond any facing"),
    ],
)
def test_a_point_left_out_is_refused_with_what_may_be_meant_and_never_taken(cell, typed, meant):
    parsed = parse(**{"b1_left": "6.5", cell: typed})
    assert meant in parsed.problems[cell]
    assert [one.typed for one in parsed.entry.readings] == ["6.5"]
    assert parsed.meanings[cell] == ""


def test_a_shop_that_writes_thick_to_thin_has_its_lines_so():
    thick_first = replace(GAUGES, thin_first=False)
    parsed = parse(line="35.5 23.5 12.5 – / 1.11")
    assert line_of(parsed, thick_first) == "– 12.5 23.5 35.5 / 1.11"
    assert [blade.gauge_id for blade in thick_first.shown] == [1, 2, 3, 4]
    assert [blade.gauge_id for blade in GAUGES.shown] == [4, 3, 2, 1]


def test_a_thinner_blade_stopping_nearer_the_tip_is_refused_by_rail():
    entry = parse(b1_left="14", b2_left="13", b1_right="7", b2_right="13")
    assert list(entry.problems) == ["b2_left"]
    assert "Left rail: the thinner blade (0.024 in) can't stop nearer" in entry.problems["b2_left"]


def test_a_blade_can_not_go_into_a_tip_that_is_closer():
    entry = parse(line="35.5 23.5 12.5 6.5 / 0.80")
    assert "can't go in as far as 6.5" in entry.problems["tip"]


def test_all_problems_come_at_once_with_their_fields():
    entry = parse(b1_left="1e3", tip="nan", taken_on="2027-01-01", role="someday")
    assert set(entry.problems) == {"b1_left", "tip", "taken_on", "role"}


def test_nothing_typed_is_refused():
    assert "Nothing is written yet" in parse().problems["line"]


@pytest.mark.parametrize(
    ("line", "field"),
    [
        ("52.5 23.5 12.5 6.5 / 1.11", "b4_left"),
        ("35.5 23.5 12.5 6.5 / 1.60", "tip"),
        ("35.5 23.5 12.5 6.5 / 1.11 / 0.7", "bore"),
        ("35.5/30.5 23.5 12.5 6.5 / 1.11", "b4_right"),
        ("35.5 12.5 12.5 6.5 / 1.11", "b3_left"),
    ],
)
def test_what_is_unusual_is_asked_about_once(line, field):
    asked = parse(line=line)
    assert asked.asks
    assert field in asked.questions
    assert not parse(line=line, asked=asked.token).asks


def test_a_yes_answers_only_what_was_asked():
    first = parse(line="52.5 23.5 12.5 6.5 / 1.11")
    assert parse(line="52.5 23.5 12.5 6.5 / 1.60", asked=first.token).asks


def test_each_reading_keeps_its_text_its_scale_and_its_value():
    entry = parse(b3_left="22½", tip=" 1,05", bore=".591").entry
    kept = [(one.typed, one.scale, one.value_mm) for one in entry.readings]
    assert kept[0] == ("22½", "glass_half_mm", 11.25)
    assert kept[1] == ("1,05", "tip_mm", 1.05)
    assert kept[2][:2] == (".591", "bore_in")
    assert kept[2][2] == pytest.approx(15.0114, abs=1e-12)


@given(st.text(alphabet="0123456789 /,.½-–xe", max_size=40))
def test_no_line_breaks_the_page(line):
    assert isinstance(parse(line=line), ParsedSet)


@given(st.lists(st.integers(1, 120), min_size=4, max_size=4, unique=True), st.booleans())
def test_a_line_written_out_spreads_back_to_itself(halves, thin_first):
    numbers = sorted(halves, reverse=True)
    text = [f"{n / 2:g}" for n in (numbers if thin_first else numbers[::-1])]
    cells = spread_line(" ".join(text), BLADES)
    assert [cells[f"b{i}_left"] for i in (4, 3, 2, 1)] == [f"{n / 2:g}" for n in numbers]


def test_a_line_for_no_blades_is_refused():
    with pytest.raises(LineRefused):
        spread_line("36", ())
