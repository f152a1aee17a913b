"""When a piece will be done: the shop's own turnaround, checked on jobs it did not learn from.

The day is a distribution-free limit: of n past jobs the one in place ⌈0.8 (n + 1)⌉ by length holds
the next with a chance of at least 0.8, if jobs come alike (order statistics; Wilks 1941, from
memory). How long a place in the queue takes is Little's law, W = L / λ (Little 1961, from memory).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import ceil
from statistics import median

LEAST = 8  # jobs; under these nothing is told
MOST = 60  # the newest ones count
SURE = 0.8
RATE_DAYS = 90


@dataclass(frozen=True, slots=True)
class Visit:
    """A job that was done: the day it came and the day it was ready."""

    came: date
    done: date

    @property
    def days(self) -> int:
        """How long it took; a clock set back makes none of them negative."""
        return max(0, (self.done - self.came).days)


@dataclass(frozen=True, slots=True)
class Turnaround:
    """How long jobs take: in the middle, and for four in five; from so many jobs.

    `kept` of `told` jobs were done by the day that the jobs before them would have told.
    """

    median_days: int
    sure_days: int
    jobs: int
    kept: int
    told: int


def _quantiles(days: Sequence[int]) -> tuple[int, int]:
    """The middle, and the length that four in five stay within (days)."""
    ordered = sorted(days)
    return ceil(median(ordered)), ordered[min(ceil(SURE * (len(days) + 1)), len(days)) - 1]


def tell_turnaround(visits: Sequence[Visit]) -> Turnaround | None:
    """Tell how long a job takes; None under LEAST jobs. `visits` in any order."""
    by_end = sorted(visits, key=lambda visit: visit.done)
    if len(by_end) < LEAST:
        return None
    kept = foretold = 0
    for visit in by_end[-MOST:]:
        before = [past.days for past in by_end if past.done <= visit.came][-MOST:]
        if len(before) >= LEAST:
            foretold += 1
            kept += visit.days <= _quantiles(before)[1]
    newest = [visit.days for visit in by_end[-MOST:]]
    return Turnaround(*_quantiles(newest), len(newest), kept, foretold)


def jobs_a_day(visits: Sequence[Visit], today: date) -> float:
    """Count the jobs done a day lately, λ of Little's law."""
    since = today - timedelta(days=RATE_DAYS)
    return sum(since < visit.done <= today for visit in visits) / RATE_DAYS


@dataclass(frozen=True, slots=True)
class Place:
    """A place in the queue: which, when its turn comes, when it is ready (middle, four in five)."""

    place: int
    begins: date
    ready: date
    sure: date


def queue_places(
    expected: Sequence[date | None], turnaround: Turnaround, rate: float, today: date
) -> list[Place | None]:
    """Give each piece of the queue its place; `expected` are the days agreed, in their order.

    One without a day begins when those before it have had their turn (W = L / λ); None where too
    little is done to tell.
    """
    places: list[Place | None] = []
    for at, day in enumerate(expected, start=1):
        begins = day or (today + timedelta(days=ceil(at / rate)) if rate else None)
        if begins is None:
            places.append(None)
            continue
        begins = max(begins, today)
        middle, sure = (begins + timedelta(days=days) for days in
                        (turnaround.median_days, turnaround.sure_days))  # fmt: skip
        places.append(Place(at, begins, middle, sure))
    return places
