"""Which backups are kept, and what is said of their age."""

from datetime import UTC, date, datetime, timedelta

import pytest

from app.core.shop.backups import (
    BackupMark,
    Rotation,
    choose_kept,
    find_fault,
    is_due,
    parse_upkeep,
    say_age,
)
from app.core.values.forms import Refused

NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)


def days_back(*days: int, reason: str = "daily") -> list[BackupMark]:
    """Mark a backup for each of so many days ago, oldest numbered first."""
    old_first = sorted(days, reverse=True)
    return [
        BackupMark(number, date(2026, 11, 25) - timedelta(days=ago), reason)
        for number, ago in enumerate(old_first, start=1)
    ]


def test_the_newest_of_each_of_the_last_days_weeks_and_months_is_kept():
    kept = choose_kept(days_back(*range(400)), Rotation(days=7, weeks=4, months=12))
    ages = sorted(400 - number for number in kept)
    assert ages[:7] == [0, 1, 2, 3, 4, 5, 6]
    # Wednesday 25 November: the Sundays before are 3, 10 and 17 days back.
    assert {3, 10, 17} <= set(ages)
    # The last days of the eleven months before November.
    assert {25, 56, 86, 117, 148, 178, 209, 239, 270, 298, 329} <= set(ages)
    assert len(ages) == 7 + 2 + 11


def test_of_a_day_only_the_newest_is_kept_once_it_is_no_longer_among_the_last_few():
    marks = [
        *days_back(9, 9, 9),
        *(BackupMark(n, date(2026, 11, 25), "daily") for n in range(4, 9)),
    ]
    assert choose_kept(marks, Rotation(days=3, weeks=0, months=0)) == {3, 4, 5, 6, 7, 8}


def test_a_shop_that_was_closed_for_a_year_loses_no_backup_by_the_calendar():
    marks = days_back(*range(400, 410))
    assert choose_kept(marks, Rotation(days=10, weeks=0, months=0)) == set(range(1, 11))


def test_the_last_five_are_kept_even_by_a_rotation_that_keeps_nothing():
    assert choose_kept(days_back(*range(9)), Rotation(0, 0, 0)) == {5, 6, 7, 8, 9}


def test_a_backup_dated_in_the_future_by_a_wrong_clock_takes_one_place_and_no_more():
    marks = [*days_back(*range(1, 10)), BackupMark(10, date(2099, 1, 1), "daily"),
             BackupMark(11, date(2026, 11, 25), "daily")]  # fmt: skip
    assert choose_kept(marks, Rotation(days=11, weeks=0, months=0)) == set(range(1, 12))
    assert choose_kept(marks, Rotation(days=8, weeks=0, months=0)) == set(range(4, 12))


def test_what_is_made_before_something_irreversible_stays_and_pushes_no_regular_one_out():
    before = [BackupMark(n, date(2026, 11, 25), "before_restore") for n in range(2, 20)]
    marks = [BackupMark(1, date(2026, 11, 25), "daily"), *before]
    assert choose_kept(marks, Rotation(1, 0, 0)) == {1, 15, 16, 17, 18, 19}


@pytest.mark.parametrize(
    ("last", "due"),
    [
        (None, True),
        (NOW - timedelta(hours=1), False),
        (NOW - timedelta(hours=23), True),
        (NOW + timedelta(days=3), True),
    ],
)
def test_a_backup_is_due_daily_and_when_the_clock_went_back(last, due):
    assert is_due(last, NOW) is due


@pytest.mark.parametrize(
    ("age", "words"),
    [
        (timedelta(minutes=3), "less than an hour old"),
        (timedelta(hours=1), "1 hour old"),
        (timedelta(hours=30), "30 hours old"),
        (timedelta(days=9), "9 days old"),
        (timedelta(days=-2), "dated in the future; is the clock right?"),
    ],
)
def test_a_backups_age_is_said_in_words(age, words):
    assert say_age(NOW - age, NOW) == words


def test_an_old_a_missing_and_a_failed_backup_are_faults_and_a_new_book_has_none():
    started = NOW - timedelta(days=30)
    assert find_fault(NOW - timedelta(hours=20), started, "", NOW) == ""
    assert "3 days old" in find_fault(NOW - timedelta(days=3), started, "", NOW)
    assert "no backup" in find_fault(None, started, "", NOW)
    assert find_fault(None, NOW, "", NOW) == ""
    assert "the disk is full" in find_fault(NOW, started, "the disk is full.", NOW)


def test_the_settings_are_refused_in_words_field_by_field():
    entry = parse_upkeep({"folder": "", "keep_days": "0", "keep_weeks": "x", "keep_months": ""})
    assert isinstance(entry, Refused)
    assert list(entry.problems) == ["keep_days", "keep_weeks", "keep_months"]
