"""Fields: dates, amounts, whole numbers, and every problem at once."""

from datetime import date

import pytest

from app.core.forms import Fields, format_amount, format_date, format_money, plural, shorten


@pytest.mark.parametrize(
    ("text", "minor"), [("85", 8500), ("85.5", 8550), ("85,50", 8550), ("", None), ("0", 0)]
)
def test_an_amount_is_read_exactly(text, minor):
    fields = Fields({"price": text})
    assert fields.money_minor("price") == minor
    assert not fields.problems


@pytest.mark.parametrize("text", ["85.505", "-1", "8e3", "1,000.00", "free", "9" * 12])
def test_an_amount_that_is_not_one_is_refused(text):
    fields = Fields({"price": text})
    assert fields.money_minor("price") is None
    assert "price" in fields.problems


@pytest.mark.parametrize("text", ["2026-02-28", "28.2.2026", "28. 2. 2026", "28.02.2026"])
def test_a_date_is_read_as_people_write_it(text):
    assert Fields({"day": text}).date("day") == date(2026, 2, 28)


@pytest.mark.parametrize("text", ["2026-02-30", "tomorrow", "31/12/2026", "0001-01-01", "9999-1-1"])
def test_a_date_that_is_not_one_is_refused(text):
    fields = Fields({"day": text})
    assert fields.date("day") is None
    assert "is not a date" in fields.problems["day"]


@pytest.mark.parametrize("text", ["1.5", "-1", "٣", "1e2", "x", "1" * 10])
def test_a_count_is_digits_only(text):
    fields = Fields({"n": text})
    assert fields.number_of("n") is None
    assert "n" in fields.problems


def test_the_first_problem_of_a_field_stands():
    fields = Fields({})
    fields.refuse("a", "first")
    fields.refuse("a", "second")
    assert fields.refused().problems == {"a": "first"}


def test_texts_are_kept_whole_or_refused():
    fields = Fields({"a": "x" * 201, "b": " two\r\nlines\x00 "})
    fields.text("a")
    assert "201 characters" in fields.problems["a"]
    assert fields.text("b") == "two\nlines"


def test_values_are_written_as_people_say_them():
    assert format_money(123456789, "EUR") == "1\u202f234\u202f567.89 EUR"
    assert format_money(-5, "EUR") == "−0.05 EUR"
    assert format_money(None, "EUR") == ""
    assert format_amount(8505) == "85.05"
    assert format_date(date(2026, 11, 5)) == "5 November 2026"
    assert plural(1, "pass", "passes") == "1 pass"
    assert plural(3, "pass", "passes") == "3 passes"
    assert shorten("one two three", 10) == "one two …"
    assert shorten("one", 9) == "one"
