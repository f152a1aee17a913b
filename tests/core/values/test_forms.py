"""Fields: dates, amounts, whole numbers, and every problem at once."""

from datetime import date

import pytest

from app.core.values.forms import Fields, format_amount, format_date, format_money, plural, shorten


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


@pytest.mark.parametrize(
    ("currency", "typed", "minor", "written", "again"),
    [
        # ISO 4217's minor units, from memory: none for JPY and KRW, three for KWD, BHD and TND
        ("EUR", "85.5", 8550, "85.50 EUR", "85.50"),
        ("JPY", "8550", 8550, "8\u202f550 JPY", "8550"),
        ("krw", "12000", 12000, "12\u202f000 krw", "12000"),
        ("KWD", "85.5", 85500, "85.500 KWD", "85.500"),
        ("TND", "1234.567", 1234567, "1\u202f234.567 TND", "1234.567"),
        ("crowns", "85.50", 8550, "85.50 crowns", "85.50"),
    ],
)
def test_an_amount_has_the_decimals_of_its_currency(currency, typed, minor, written, again):
    fields = Fields({"price": typed}, currency=currency)
    assert fields.money_minor("price") == minor
    assert not fields.problems
    assert format_money(minor, currency) == written
    assert format_amount(minor, currency) == again
    assert format_money(-minor, currency) == f"−{written}"


@pytest.mark.parametrize(
    ("currency", "typed", "words"),
    [("JPY", "85.5", "an amount in JPY has no decimals"),
     ("KWD", "0.0001", "an amount in KWD has at most three decimals"),
     ("", "0.005", "an amount in this currency has at most two decimals"),
     ("JPY", "free", "Write it like 85.")],
)  # fmt: skip
def test_more_decimals_than_the_currency_has_are_refused_in_words(currency, typed, words):
    fields = Fields({"price": typed}, currency=currency)
    assert fields.money_minor("price") is None
    assert words in fields.problems["price"]


def test_today_is_taken_even_if_the_clock_stands_before_the_day_it_came():
    today, came = date(2026, 11, 26), date(2026, 11, 27)
    for raw in ({}, {"done_on": "2026-11-26"}):
        fields = Fields(raw)
        assert fields.past_day("done_on", today, "A pass", came) == today
        assert not fields.problems
    earlier = Fields({"done_on": "2026-11-25"})
    earlier.past_day("done_on", today, "A pass", came)
    assert "before the piece came" in earlier.problems["done_on"]
