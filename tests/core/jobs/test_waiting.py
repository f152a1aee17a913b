"""When a piece will be done: from the shop's own turnaround, checked on jobs held out."""

import random
from datetime import date, timedelta

import pytest

from app.core.jobs.waiting import (
    LEAST,
    Place,
    Turnaround,
    Visit,
    jobs_a_day,
    queue_places,
    tell_turnaround,
)

DAY = date(2026, 11, 25)


def visits(*days: int) -> list[Visit]:
    return [Visit(DAY - timedelta(days=200 - 3 * at), DAY - timedelta(days=200 - 3 * at - one))
            for at, one in enumerate(days)]  # fmt: skip


def test_too_few_jobs_tell_nothing():
    assert tell_turnaround(visits(*range(LEAST - 1))) is None


def test_the_middle_and_the_length_that_four_in_five_stay_within():
    told = tell_turnaround(visits(9, 1, 8, 2, 7, 3, 6, 4, 5))
    # of nine jobs the eighth by length: 0.8 (9 + 1) = 8
    assert told is not None
    assert (told.median_days, told.sure_days, told.jobs) == (5, 8, 9)


def test_a_clock_set_back_makes_no_negative_turnaround():
    assert Visit(DAY, DAY - timedelta(days=4)).days == 0


@pytest.mark.parametrize("seed", range(4))
def test_held_out_jobs_are_done_by_the_day_told_about_as_often_as_it_says(seed):
    """In simulated shops the check that the page shows comes out near the 80 % it promises."""
    chance = random.Random(f"waiting {seed}")  # noqa: S311
    came = DAY
    history = []
    for _ in range(400):
        came += timedelta(days=chance.choice((0, 1, 1, 2, 3)))
        history.append(Visit(came, came + timedelta(days=round(chance.lognormvariate(2.3, 0.6)))))
    kept = told = 0
    for upto in range(100, 401, 60):  # each look checks the newest sixty
        found = tell_turnaround(history[:upto])
        assert found is not None
        kept, told = kept + found.kept, told + found.told
    assert told > 250
    assert 0.74 <= kept / told <= 0.90


def test_littles_law_holds_of_what_the_queue_is_told():
    """W = L / λ (Little 1961): what a place is told is, on average, how long it then waits.

    One hand works off what came; a piece begins when those before it have left.
    """
    chance = random.Random("little")  # noqa: S311
    now, free_at = 0.0, 0.0
    begun: list[float] = []
    done: list[Visit] = []
    told, waited = [], []
    for _ in range(4000):
        now += chance.expovariate(0.46)
        begins = max(free_at, now)
        free_at = begins + chance.expovariate(1 / 2.1)
        ahead = sum(one > now for one in begun[-200:])
        begun.append(begins)
        done.append(Visit(DAY + timedelta(days=int(now)), DAY + timedelta(days=int(free_at))))
        if len(done) > 300 and ahead >= 2:
            today = DAY + timedelta(days=int(now))
            rate = jobs_a_day(done[-400:], today)
            place = queue_places([None] * (ahead + 1), Turnaround(0, 0, 9, 0, 0), rate, today)[-1]
            assert place is not None
            told.append((place.begins - today).days)
            waited.append(begins - now)
    assert len(told) > 1000
    # a rate seen over 90 days is a little slow: the mean of its inverse is above the inverse
    assert sum(told) == pytest.approx(sum(waited), rel=0.15)


def test_littles_law_over_a_closed_span_is_an_identity():
    """Over a span that begins and ends empty, mean number = rate * mean stay, exactly."""
    chance = random.Random("identity")  # noqa: S311
    history = [Visit(DAY - timedelta(days=came), DAY - timedelta(days=came - stay))
               for came, stay in ((chance.randint(20, 85), chance.randint(0, 19))
                                  for _ in range(50))]  # fmt: skip
    span = 90
    here = sum(sum(one.came <= DAY - timedelta(days=at) < one.done for one in history)
               for at in range(span)) / span  # fmt: skip
    mean_stay = sum(one.days for one in history) / len(history)
    assert here == pytest.approx(jobs_a_day(history, DAY) * mean_stay)


def test_a_day_agreed_stands_and_a_place_without_one_waits_for_those_before_it():
    turnaround = Turnaround(10, 16, 40, 8, 10)
    agreed = DAY + timedelta(days=6)
    first, second, gone = queue_places(
        [agreed, None, DAY - timedelta(days=3)], turnaround, 0.5, DAY
    )
    assert first == Place(1, agreed, agreed + timedelta(days=10), agreed + timedelta(days=16))
    assert second is not None
    assert second.begins == DAY + timedelta(days=4)
    assert gone is not None
    assert gone.begins == DAY  # a day gone by can't begin before today
    assert queue_places([None], turnaround, 0.0, DAY) == [None]
