"""Passes and other works at the bench, as noted."""

from dataclasses import asdict
from datetime import datetime

from sqlalchemy.orm import Session

from app.core.values.passes import PassEntry, describe_pass
from app.core.values.works import WorkEntry, describe_work
from app.store.records.jobs import add_event
from app.store.records.shop import extend_checklists
from app.store.tables import BenchPass, Job, Work


def add_pass(session: Session, job: Job, entry: PassEntry, now: datetime) -> BenchPass:
    """Note a pass and add it to the job's history."""
    made = BenchPass(job_id=job.id, created_at=now, **asdict(entry))
    session.add(made)
    words = describe_pass(entry) + (f": {entry.note}" if entry.note else "")
    add_event(session, job, "pass", entry.done_on, now, words)
    return made


def as_entry(kept: BenchPass) -> PassEntry:
    """Give a kept pass as the value it was entered as."""
    return PassEntry(
        kept.done_on, kept.kind, kept.abrasive, kept.grit, kept.strokes, kept.minutes, kept.note
    )


def add_work(session: Session, job: Job, entry: WorkEntry, now: datetime) -> Work:
    """Note a work that is no cut, in the job's history too; a new kind is offered from now on."""
    made = Work(job_id=job.id, created_at=now, **asdict(entry))
    session.add(made)
    if entry.label:
        extend_checklists(session, (("work", entry.label),))
    words = describe_work(entry) + (f": {entry.note}" if entry.note else "")
    add_event(session, job, "work", entry.done_on, now, words)
    return made


def as_work(kept: Work) -> WorkEntry:
    """Give a kept work as the value it was entered as."""
    return WorkEntry(*(getattr(kept, name) for name in WorkEntry.__dataclass_fields__))


def standing_passes(job: Job) -> list[PassEntry]:
    """List a job's passes that were not struck out."""
    return [as_entry(one) for one in job.passes if one.struck_at is None]


def standing_works(job: Job) -> list[WorkEntry]:
    """List a job's works that were not struck out."""
    return [as_work(one) for one in job.works if one.struck_at is None]


def strike_pass(kept: BenchPass | Work, at: datetime | None) -> None:
    """Strike a pass or a work out, or bring it back with None; it stays readable."""
    kept.struck_at = at
