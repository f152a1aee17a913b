"""Little's law, L = λ W: published worked examples, and the shop's own days held against it.

J. D. C. Little and S. C. Graves, "Little's Law", chapter 5 of Building Intuition (2008): 150
letters in a box that gets 50 a day wait 3 days; a cellar of 160 bottles, 8 bought a month, holds
one for 20 months (both from memory). Over a time that begins and ends with nobody here it is an
identity: J. D. C. Little, "Little's Law as viewed on its 50th anniversary", Operations Research 59
(2011) 536-549, theorem LL.1 (from memory).
"""

import random
from datetime import date, timedelta

import pytest

from app.core.jobs.waiting import Turnaround, Visit, jobs_a_day, queue_places

TODAY = date(2026, 11, 25)


@pytest.mark.parametrize(("waiting", "a_day", "days"), [(150, 50, 3), (160, 8 / 30, 600)])
def test_the_last_in_a_queue_begins_when_its_length_over_the_rate_is_done(waiting, a_day, days):
    places = queue_places([None] * waiting, Turnaround(4, 6, 20, 9, 10), a_day, TODAY)
    assert (places[-1].begins - TODAY).days == days


@pytest.mark.parametrize("seed", range(5))
def test_what_is_here_on_an_average_day_is_the_rate_times_the_days_a_job_takes(seed):
    dice = random.Random(seed)  # noqa: S311 - a test's dice
    first = TODAY - timedelta(
        days=89
    )  # the days the rate is counted over; nothing is left at the end
    visits = []
    for _ in range(60):
        came = first + timedelta(days=dice.randrange(90))
        done = min(came + timedelta(days=dice.randrange(1, 20)), TODAY)
        visits.append(Visit(came, done))
    days = [first + timedelta(days=at) for at in range(90)]
    here = sum(one.came <= day < one.done for one in visits for day in days) / len(days)
    mean_days = sum(one.days for one in visits) / len(visits)
    assert here == pytest.approx(jobs_a_day(visits, TODAY) * mean_days)
