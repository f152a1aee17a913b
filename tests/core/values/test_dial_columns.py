"""Columns of dial readings: every way of writing two numbers, and what is wrong with the rest."""

import pytest

from app.core.values.dial_columns import (
    MOST_LINES,
    ask_unusual_dials,
    dial_cells,
    fill_dials,
    parse_column,
    read_dials,
)
from app.core.values.forms import Fields
from app.core.values.units import SCALES

MM, INCH = SCALES["length_mm"], SCALES["length_in"]


@pytest.mark.parametrize(
    "text",
    [
        "12.5 0.31",
        "12,5 0,31",
        "12.5\t0.31",
        "12,5;0,31",
        "12.5, 0.31",
        "12.5,.31",
        '"12.5"\t"0.31"',
        "12½ 0.31",
        "12.5 mm 0.31 mm",
        "12.5mm 0.31mm",
        "  12.5   0.31  \r\n\r\n",
        "position gap\n12.5 0.31",
        "position,gap\n# taken at noon\n12.5 0.31\n",
    ],
)
def test_two_numbers_are_read_however_they_stand_apart(text):
    lines, problems = parse_column(text, MM)
    assert problems == []
    assert [(one.position_mm, one.gap_mm) for one in lines] == [(12.5, 0.31)]


def test_gaps_in_inches_and_a_unit_that_overrules():
    lines, problems = parse_column("10 0.0100\n12 0.2 mm", INCH)
    assert problems == []
    assert [one.gap_mm for one in lines] == pytest.approx([0.254, 0.2])


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("12", "is one number"),
        ("1 2 3", "has 3 parts"),
        ("12,31", "could be one number or two"),
        ("12,5,0,31", "could be one number or two"),
        ("1 x", "is not a number"),
        ("1 1e5", "exponent"),
        ("90 0.1", "beyond any facing"),
        ("5 40", "not a mouthpiece’s"),
        ("5 -0.5", "set the dial’s zero"),
        ("-5 0.5", "below zero"),
        ("5 0.3\n5.0 0.31", "stands there twice"),
        ("5 nan", "is not a number"),
        ("5 \x00", "is not a number"),
        ("<script>alert(1)</script> 5", "is not a number"),
        ("=1+1 5", "is not a number"),
        ("\n".join(f"{n} 0.1" for n in range(1, 80)), "at most 60"),
        ("9" * 30_000, "more than a column"),
    ],
)
def test_what_is_no_position_and_gap_is_refused_in_words(text, words):
    _, problems = parse_column(text, MM)
    assert any(words in one for one in problems), problems


def test_every_bad_line_is_named_and_long_lists_are_counted():
    fields = Fields({"dial_left": "\n".join(["1 0.9", *["bad"] * 7])})
    readings = read_dials(fields)
    assert len(readings) == 1
    said = fields.problems["dial_left"]
    assert "Line 2:" in said
    assert "Line 5:" in said
    assert "And 3 more." in said


def test_a_dial_may_stand_a_little_under_its_zero():
    lines, problems = parse_column("22 -0.002\n23 −0.001", MM)
    assert problems == []
    assert [one.gap_mm for one in lines] == [-0.002, -0.001]
    assert lines[0].gap_typed == "-0.002"


def test_a_file_fills_the_column_and_a_second_copy_is_no_conflict():
    assert fill_dials({"dial_left_file": "1 0.9\n"})["dial_left"] == "1 0.9"
    same = fill_dials({"dial_left": "1  0.9", "dial_left_file": "1 0.9\n"})
    assert "dial_left_problem" not in same


def test_a_file_beside_another_column_is_asked_to_be_sorted_out_and_the_column_stays():
    filled = fill_dials({"dial_left": "1 0.8", "dial_left_file": "1 0.9"})
    assert filled["dial_left"] == "1 0.8"
    fields = Fields(filled)
    read_dials(fields)
    assert "choose the file again" in fields.problems["dial_left"]


def test_a_gap_that_grows_away_from_the_tip_is_asked_about():
    swapped = read_dials(Fields({"dial_right": "2 0.5\n4 0.8"}))
    assert "grows away from the tip" in ask_unusual_dials(swapped)["dial_right"]
    assert ask_unusual_dials(read_dials(Fields({"dial_right": "4 0.5\n2 0.8"}))) == {}


def test_kept_readings_are_written_back_as_the_column_they_came_from():
    readings = read_dials(Fields({"dial_left": "2 0.036\n4 0,03", "dial_scale": "length_in"}))
    cells = dial_cells(readings)
    assert cells["dial_scale"] == "length_in"
    assert read_dials(Fields(cells)) == readings


def test_sixty_lines_are_taken():
    lines, problems = parse_column("\n".join(f"{n / 4} 0.1" for n in range(MOST_LINES)), MM)
    assert len(lines) == MOST_LINES
    assert problems == []
