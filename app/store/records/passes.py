"""Passes and other works at the bench, as noted."""

from dataclasses import asdict
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.core.values.passes import PassEntry, describe_pass
from app.core.values.works import CUT_BACK, WorkEntry, describe_work
from app.store.records.jobs import add_event
from app.store.records.keeping import as_entry
from app.store.records.measurements import Measurement
from app.store.records.shop import extend_checklists
from app.store.tables import BenchPass, Job, Work


def add_pass(session: Session, job: Job, entry: PassEntry, now: datetime) -> BenchPass:
    """Note a pass and add it to the job's history."""
    made = BenchPass(job_id=job.id, created_at=now, **asdict(entry))
    session.add(made)
    words = describe_pass(entry) + (f": {entry.note}" if entry.note else "")
    add_event(session, job, "pass", entry.done_on, now, words)
    return made


def add_work(session: Session, job: Job, entry: WorkEntry, now: datetime) -> Work:
    """Note a work that is no cut, in the job's history too; a new kind is offered from now on."""
    made = Work(job_id=job.id, created_at=now, **asdict(entry))
    session.add(made)
    if entry.label:
        extend_checklists(session, (("work", entry.label),))
    words = describe_work(entry) + (f": {entry.note}" if entry.note else "")
    add_event(session, job, "work", entry.done_on, now, words)
    return made


def standing_passes(job: Job) -> list[PassEntry]:
    """List a job's passes that were not struck out."""
    return [as_entry(PassEntry, done) for done in job.passes if done.struck_at is None]


def standing_works(job: Job) -> list[WorkEntry]:
    """List a job's works that were not struck out."""
    return [as_entry(WorkEntry, work) for work in job.works if work.struck_at is None]


def shortened_between(session: Session, first: Measurement, second: Measurement) -> float:
    """Say by how many mm the tip was shortened between two sets of one piece.

    Between a job's readings as received and as returned lie all its works; else days tell, and
    within a day the moment of writing.
    """
    if first.piece_id != second.piece_id:
        return 0.0
    works = session.execute(
        select(Work.amount_mm, Work.done_on, Work.created_at, Job.number)
        .join(Job, Job.id == Work.job_id)
        .where(Job.piece_id == first.piece_id, Work.kind == CUT_BACK, Work.struck_at.is_(None))
    )
    ends = [(measurement.taken_on, measurement.kept_at) for measurement in (first, second)]
    whole_job = (first.role, second.role) == ("as_received", "as_returned")
    number = first.job_number if whole_job and first.job_number == second.job_number else None
    return sum(
        amount or 0.0
        for amount, on, at, of_job in works
        if of_job == number or (number is None and ends[0] < (on, at) < ends[1])
    )


def strike_pass(kept: BenchPass | Work, at: datetime | None) -> None:
    """Strike a pass or a work out, or bring it back with None; it stays readable."""
    kept.struck_at = at
