"""Text to number and back: every way a workshop writes one, and every way it can't be taken."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.core.values.units import (
    SCALES,
    NotANumber,
    format_blade,
    format_number,
    format_on_scale,
    format_signed,
    parse_length,
    parse_number,
    to_scale,
)

HALVES = SCALES["glass_half_mm"]
WHOLE = SCALES["length_mm"]


@pytest.mark.parametrize("text", ["22.5", "22,5", "22½", "22 1/2", " 22.5 ", "22.50", "022.5"])
def test_the_ways_of_writing_a_half_are_one_number(text):
    assert parse_number(text) == Fraction(45, 2)


@pytest.mark.parametrize("text", ["12,5", "12.5", " 12.5 mm", "12.5mm", "12½ MM"])
def test_a_unit_and_a_comma_change_nothing(text):
    assert parse_length(text, WHOLE) == 12.5


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("1,234.5", "more than one separator"),
        ("1.234.567", "more than one separator"),
        ("1'000", "more than one separator"),
        ("1e3", "exponent"),
        ("nan", "not a number"),
        ("inf", "not a number"),
        ("-3", "below zero"),
        ("−3", "below zero"),
        ("34/33", "two rails"),
        ("22 1/0", "divides by zero"),
        ("abc", "not a number"),
        ("0x10", "not a number"),
        ("1_000", "not a number"),
        ("12 5", "more than one separator"),
        ("١٢", "not a number"),
        ("", "Nothing is written"),
        (".", "more than one separator"),
        ("a½", "not a number"),
    ],
)
def test_what_is_not_one_plain_number_is_refused_in_words(text, words):
    with pytest.raises(NotANumber, match=words):
        parse_number(text)


def test_a_number_on_the_half_millimetre_glass_is_half_as_many_mm():
    # Common practice, no source: 36 on the traditional glass is 18.0 mm.
    assert parse_length("36", HALVES) == 18.0
    assert parse_length("18 mm", HALVES) == 18.0


def test_a_unit_that_is_written_overrules_the_scale():
    assert parse_length('0.591"', SCALES["bore_mm"]) == pytest.approx(15.0114, abs=1e-12)
    assert parse_length("0.591 in", SCALES["bore_mm"]) == parse_length("0.591", SCALES["bore_in"])


@given(st.integers(0, 99999))
def test_ten_thousandths_of_an_inch_come_back_as_they_went_in(tenths):
    text = f"{tenths / 10000:.4f}"
    value_mm = parse_length(text, SCALES["bore_in"])
    assert f"{to_scale(value_mm, SCALES['bore_in']):.4f}" == text


@given(st.sampled_from(sorted(SCALES)), st.integers(0, 10**6))
def test_every_scale_gives_a_reading_back_exactly(key, steps):
    scale = SCALES[key]
    units = float(steps * scale.step)
    value_mm = parse_length(f"{units:.6f}", scale)
    assert to_scale(value_mm, scale) == pytest.approx(units, abs=1e-9)


@given(st.text(max_size=30))
def test_no_text_breaks_the_parser(text):
    try:
        value_mm = parse_length(text, HALVES)
    except NotANumber:
        return
    assert value_mm >= 0


def test_numbers_are_shown_short_and_with_a_true_minus():
    assert format_number(22.5, 2) == "22.5"
    assert format_number(36.0, 2) == "36"
    assert format_number(-0.001, 2) == "0"
    assert format_signed(-1.5, 1) == "−1.5"
    assert format_signed(0.0, 2) == "0.00"
    assert format_on_scale(1.1, SCALES["tip_mm"]) == "1.10"
    assert format_on_scale(15.0114, SCALES["bore_in"]) == "0.591"
    assert format_on_scale(1.0922, SCALES["tip_thou"]) == "43"


@pytest.mark.parametrize(
    ("gap_mm", "text"),
    [
        (0.0381, "0.0015 in"),
        (0.254, "0.010 in"),
        (0.8636, "0.034 in"),
        (1.27, "0.050 in"),
        (0.05, "0.05 mm"),
        (0.1, "0.10 mm"),
        (0.0375, "0.0375 mm"),
    ],
)
def test_a_blade_is_called_as_it_is_engraved(gap_mm, text):
    assert format_blade(gap_mm) == text
