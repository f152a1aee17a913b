"""Repeatability studies: kept as typed, and taken over for a gauge on a day."""

from dataclasses import asdict
from datetime import date, datetime

from sqlalchemy import select
from sqlalchemy.orm import Session, joinedload, selectinload

from app.core.gauges.studies import StudyEntry
from app.store.records.keeping import keep
from app.store.records.revisions import keep_revision
from app.store.tables import Gauge, Study, StudyReading


def add_study(
    session: Session, gauge: Gauge, read_on_id: int | None, entry: StudyEntry, now: datetime
) -> Study:
    """Keep a study as typed."""
    return keep(
        session,
        Study(
            gauge_id=gauge.id,
            read_on_id=read_on_id,
            scale=entry.scale,
            done_on=entry.done_on,
            note=entry.note,
            created_at=now,
            readings=[StudyReading(**asdict(reading)) for reading in entry.values],
        ),
    )


def get_study(session: Session, study_id: int) -> Study | None:
    """A study with its readings and gauges."""
    return session.scalar(
        select(Study)
        .where(Study.id == study_id)
        .options(selectinload(Study.readings), joinedload(Study.gauge), joinedload(Study.read_on))
    )


def adopt_study(session: Session, study: Study, on: date | None, now: datetime) -> None:
    """Take a study over for its gauge from a day on, or no longer use it."""
    keep_revision(session, study, ["adopted_on"], now)
    study.adopted_on = on
    session.flush()
