"""Passes at the bench, as noted."""

from dataclasses import asdict
from datetime import datetime

from sqlalchemy.orm import Session

from app.core.values.passes import PassEntry, describe_pass
from app.store.records.jobs import add_event
from app.store.tables import BenchPass, Job


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


def strike_pass(kept: BenchPass, at: datetime | None) -> None:
    """Strike a pass out, or bring it back with None: it stays readable and does not count."""
    kept.struck_at = at
