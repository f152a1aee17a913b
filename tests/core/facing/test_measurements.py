"""A reading set as typed: the grid, the notebook line, what is refused and what is asked."""

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.core.facing.measurements import (
    Asked,
    Blade,
    GaugesInUse,
    LineRefused,
    SetEntry,
    facing_of,
    parse_set,
    spread_line,
    write_line,
)
from app.core.values.forms import Refused
from app.core.values.units import SCALES

TODAY = date(2026, 11, 25)
BLADES = tuple(Blade(i, gap) for i, gap in enumerate((0.8636, 0.6096, 0.254, 0.0381), 1))
GAUGES = GaugesInUse(BLADES, SCALES["glass_half_mm"], SCALES["tip_mm"], SCALES["bore_in"])


def parse(**raw):
    return parse_set({"role": "as_received", **raw}, GAUGES, "clarinet_bb", TODAY)


def line_of(entry):
    assert isinstance(entry, SetEntry), entry
    return write_line(facing_of(entry.readings), GAUGES.glass, GAUGES.tip)


@pytest.mark.parametrize(
    ("line", "kept"),
    [
        ("35.5 23.5 12.5 6.5 / 1.11", "35.5 23.5 12.5 6.5 / 1.11"),
        ("6.5 12.5 23.5 35.5 / 1.11", "35.5 23.5 12.5 6.5 / 1.11"),
        ("35.5/34.5 23.5 12.5 6.5/6 / 1.11", "35.5/34.5 23.5 12.5 6.5/6 / 1.11"),
        ("35.5 22 1/2 12.5 6.5 / 1,11", "35.5 22.5 12.5 6.5 / 1.11"),
        ("35.5 22½ 12.5 6.5 // 1.11", "35.5 22.5 12.5 6.5 / 1.11"),
        ("35.5 23.5 12.5 6.5", "35.5 23.5 12.5 6.5"),
        ("35.5 23.5 12.5 – / 1.11", "35.5 23.5 12.5 / 1.11"),
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
    entry = parse(line=line)
    assert isinstance(entry, Refused)
    assert words in entry.problems["line"]


def test_a_line_and_a_grid_that_disagree_are_refused_and_the_same_are_not():
    assert "grid says" in parse(line="35.5 23.5 12.5 6.5", b4_left="34.5").problems["line"]
    assert line_of(parse(line="35.5 23.5 12.5 6.5", b4_left="35.5")) == "35.5 23.5 12.5 6.5"


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
    assert isinstance(asked, Asked)
    assert field in asked.questions
    assert isinstance(parse(line=line, asked=asked.token), SetEntry)


def test_a_yes_answers_only_what_was_asked():
    first = parse(line="52.5 23.5 12.5 6.5 / 1.11")
    assert isinstance(parse(line="52.5 23.5 12.5 6.5 / 1.60", asked=first.token), Asked)


def test_each_reading_keeps_its_text_its_scale_and_its_value():
    entry = parse(b3_left="22½", tip=" 1,05", bore=".591")
    kept = [(one.typed, one.scale, one.value_mm) for one in entry.readings]
    assert kept[0] == ("22½", "glass_half_mm", 11.25)
    assert kept[1] == ("1,05", "tip_mm", 1.05)
    assert kept[2][:2] == (".591", "bore_in")
    assert kept[2][2] == pytest.approx(15.0114, abs=1e-12)


@given(st.text(alphabet="0123456789 /,.½-–xe", max_size=40))
def test_no_line_breaks_the_page(line):
    assert isinstance(parse(line=line), SetEntry | Asked | Refused)


@given(st.lists(st.integers(1, 120), min_size=4, max_size=4, unique=True), st.booleans())
def test_a_line_written_out_spreads_back_to_itself(halves, thin_first):
    numbers = sorted(halves, reverse=True)
    text = [f"{n / 2:g}" for n in (numbers if thin_first else numbers[::-1])]
    cells = spread_line(" ".join(text), BLADES)
    assert [cells[f"b{i}_left"] for i in (4, 3, 2, 1)] == [f"{n / 2:g}" for n in numbers]


def test_a_line_for_no_blades_is_refused():
    with pytest.raises(LineRefused):
        spread_line("36", ())
