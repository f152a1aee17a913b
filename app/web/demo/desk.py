"""The desk at which the made-up shop's diary is entered: its lines, its data, who is meant.

A line that a page would refuse stops the loading, in words that say which.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, TypeVar

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.core.values.forms import Refused
from app.store.records.jobs import get_job
from app.store.tables import Gauge, Job
from app.web.settings import Settings

Entry = TypeVar("Entry")


class DiaryRefused(Exception):  # noqa: N818 - a line of the data was refused, as a page would
    """A line of the demo data can't be entered; the message says which and why."""


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the diary: the day, what is done, whose job it is, and what is typed."""

    days_ago: int
    do: str
    job: int
    typed: Mapping[str, Any]

    def text(self) -> dict[str, str]:
        """The typed fields as a form would send them."""
        return {
            name: str(value) for name, value in self.typed.items() if not isinstance(value, list)
        }

    def ticked(self, name: str) -> list[str]:
        """The values of a field that may have several."""
        return [str(value) for value in self.typed.get(name, ())]


@dataclass(frozen=True, slots=True)
class MadeUpShop:
    """The demo data: settings, customers and pieces by key, and the diary in order of days."""

    shop: Mapping[str, str]
    services: tuple[Mapping[str, str], ...]
    customers: Mapping[str, Mapping[str, Any]]
    pieces: Mapping[str, Mapping[str, Any]]
    lines: tuple[Line, ...]


@dataclass(slots=True)
class Desk:
    """Where the diary is entered: the session, the moment, and what each key became."""

    session: Session
    data: MadeUpShop
    settings: Settings
    customers: dict[str, int] = field(default_factory=dict)
    pieces: dict[str, int] = field(default_factory=dict)
    instruments: dict[tuple[str, str], int] = field(default_factory=dict)
    jobs: dict[int, int] = field(default_factory=dict)
    batches: dict[str, int] = field(default_factory=dict)

    def job(self, line: Line) -> Job:
        """The line's job as its page would load it."""
        job = get_job(self.session, self.jobs[line.job])
        if job is None:
            raise DiaryRefused(f"{line.do}: there is no job {line.job}.")
        return job


def refuse(line: Line, problems: Mapping[str, str]) -> DiaryRefused:
    """Make the refusal of a line, for raising."""
    words = "; ".join(f"{name}: {why}" for name, why in problems.items())
    return DiaryRefused(f"{line.do}, {line.days_ago} days ago, {dict(line.typed)}: {words}")


def taken(line: Line, parsed: Entry | Refused) -> Entry:
    """What was parsed; raises DiaryRefused where a page would have refused it."""
    if isinstance(parsed, Refused):
        raise refuse(line, parsed.problems)
    return parsed


def find_gauge(desk: Desk, line: Line, label: str) -> Gauge:
    """The gauge of the register that the line names."""
    gauge = desk.session.scalar(select(Gauge).where(Gauge.label == label))
    if gauge is None:
        raise refuse(line, {"gauge": f"there is no gauge “{label}”"})
    return gauge
