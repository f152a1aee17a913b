"""The shop at a glance: work in hand, turnaround, income by month, what people ask for."""

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from statistics import median

from app.core.jobs.jobs import days_late
from app.core.jobs.stages import EXPECTED, STAGES
from app.core.values.customers import INSTRUMENT_KINDS

MONTHS_SHOWN = 12
WORDS_SHOWN = 12
# Words that say nothing about a facing; English, as requests are compared only by their words.
_COMMON = frozenset(
    """
    about after again also and any are back been bit but can could does feel feels for from get
    gets has have having her his how into its just like likes little made make makes more most
    mouthpiece much need needs not now off one only our out over piece please quite same she
    should some something than that the their them then there they this through too two used
    very want wants was were what when which while will with would you your
    """.split()  # noqa: SIM905 - a list of this length is read as words
)
_WORD = re.compile(r"[^\W\d_]{3,}")


@dataclass(frozen=True, slots=True)
class JobFacts:
    """What the page looks at of one job."""

    stage: str
    dropped_off: date
    wanted_by: date | None
    returned_on: date | None
    instrument_kind: str
    request: str


@dataclass(frozen=True, slots=True)
class StageCount:
    """How many jobs stand at a stage, how many of them are late, how old the oldest is."""

    stage: str
    label: str
    count: int
    late: int
    oldest_days: int | None


@dataclass(frozen=True, slots=True)
class MonthLine:
    """One month: jobs that came, jobs that went home, their middle turnaround, money received."""

    month: date
    came: int
    went: int
    median_days: float | None
    received_minor: int

    @property
    def label(self) -> str:
        """The month as people write it: Nov 2026."""
        return f"{self.month:%b %Y}"


@dataclass(frozen=True, slots=True)
class Asked:
    """How often something was asked for: a word, or an instrument."""

    label: str
    count: int


def came_since(jobs: Iterable[JobFacts], since: date) -> list[JobFacts]:
    """Leave the jobs whose piece came since a day."""
    return [job for job in jobs if job.stage != EXPECTED and job.dropped_off >= since]


def first_months(today: date, count: int = MONTHS_SHOWN) -> list[date]:
    """List the first days of the last months, this one last."""
    index = today.year * 12 + today.month - 1
    return [date(at // 12, at % 12 + 1, 1) for at in range(index - count + 1, index + 1)]


def count_stages(jobs: Iterable[JobFacts], today: date) -> list[StageCount]:
    """Count the open jobs by stage, in the order of the stages."""
    at: dict[str, list[JobFacts]] = {key: [] for key, stage in STAGES.items() if stage.open}
    for job in jobs:
        if job.stage in at:
            at[job.stage].append(job)
    return [
        StageCount(
            key,
            STAGES[key].label,
            len(standing),
            sum(days_late(job.wanted_by, job.stage, today) > 0 for job in standing),
            max((_days_from(job.dropped_off, today) for job in standing), default=None),
        )
        for key, standing in at.items()
    ]


def _days_from(first: date, last: date) -> int:
    """Count days; a clock that was set back in between makes none of them negative."""
    return max(0, (last - first).days)


def tell_months(
    jobs: Sequence[JobFacts], payments: Iterable[tuple[date, int]], today: date
) -> list[MonthLine]:
    """Tell the last months, oldest first; turnaround is counted in the month of the return."""
    months = first_months(today)
    came: Counter[date] = Counter(
        job.dropped_off.replace(day=1) for job in jobs if job.stage != EXPECTED
    )
    took: dict[date, list[int]] = {month: [] for month in months}
    for job in jobs:
        month = job.returned_on.replace(day=1) if job.returned_on else None
        if job.returned_on and month in took:
            took[month].append(_days_from(job.dropped_off, job.returned_on))
    received: Counter[date] = Counter()
    for paid_on, minor in payments:
        received[paid_on.replace(day=1)] += minor
    return [
        MonthLine(
            month,
            came[month],
            len(took[month]),
            float(median(took[month])) if took[month] else None,
            received[month],
        )
        for month in months
    ]


def count_words(jobs: Iterable[JobFacts], most: int = WORDS_SHOWN) -> list[Asked]:
    """Count the words players use, each once a job; those of a single job are left out."""
    counts: Counter[str] = Counter()
    for job in jobs:
        counts.update(set(_WORD.findall(job.request.casefold())) - _COMMON)
    ranked = sorted(counts.items(), key=lambda pair: (-pair[1], pair[0]))
    return [Asked(word, count) for word, count in ranked[:most] if count > 1]


def count_instruments(jobs: Iterable[JobFacts]) -> list[Asked]:
    """Count the jobs by the instrument the piece is for."""
    counts = Counter(job.instrument_kind for job in jobs)
    ranked = sorted(counts.items(), key=lambda pair: (-pair[1], pair[0]))
    return [Asked(INSTRUMENT_KINDS[key], count) for key, count in ranked]
