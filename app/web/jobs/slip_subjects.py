"""Whose paper it is, and what every paper of a job says of it."""

from dataclasses import dataclass
from datetime import date

from app.store.records.measurements import (
    Measurement,
    measurements_of_job,
    standing,
)
from app.store.tables import Job, Piece


@dataclass(frozen=True, slots=True)
class Subject:
    """Whose paper it is: a piece, in a job or outside any."""

    piece: Piece
    job: Job | None

    @property
    def address(self) -> str:
        """The page it belongs to."""
        return f"/jobs/{self.job.number}" if self.job else f"/pieces/{self.piece.id}"

    @property
    def name(self) -> str:
        """What the page is called in words."""
        return f"job {self.job.number}" if self.job else "the piece"


@dataclass(frozen=True, slots=True)
class Printing:
    """What a paper needs beside the book: the day, and the address that its code holds."""

    today: date
    address: str


def before_after(job: Job) -> tuple[Measurement | None, Measurement | None]:
    """A job's readings as received and as returned, the last of each that stands."""
    sets = measurements_of_job(job)
    before, after = standing(sets, "as_received"), standing(sets, "as_returned")
    return before[-1] if before else None, after[-1] if after else None


def job_of(subject: Subject) -> Job:
    """The job a paper is about; raises ValueError if it is about none."""
    if subject.job is None:
        raise ValueError("this paper is about a job")
    return subject.job


def list_ticked(job: Job, kind: str) -> str:
    """List a job’s ticked lines of one kind."""
    return ", ".join(tick.label for tick in job.ticks if tick.kind == kind)


def say_condition(job: Job) -> str:
    """Say a piece’s condition at drop-off."""
    return ". ".join(filter(None, (list_ticked(job, "condition"), job.condition_notes)))
