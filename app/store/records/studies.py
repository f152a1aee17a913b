"""Repeatability studies: kept as typed, and taken over for a gauge on a day."""

from datetime import date, datetime

from sqlalchemy import select
from sqlalchemy.orm import Session, joinedload, selectinload

from app.core.gauges.studies import StudyEntry
from app.store.records.revisions import keep_revision
from app.store.tables import Gauge, Study, StudyReading


def add_study(
    session: Session, gauge: Gauge, read_on_id: int | None, entry: StudyEntry, now: datetime
) -> Study:
    """Keep a study as typed."""
    study = Study(
        gauge_id=gauge.id,
        read_on_id=read_on_id,
        scale=entry.scale,
        done_on=entry.done_on,
        note=entry.note,
        created_at=now,
        readings=[
            StudyReading(
                piece_place=one.piece_place,
                piece=one.piece,
                turn=one.turn,
                typed=one.typed,
                value_mm=one.value_mm,
            )
            for one in entry.values
        ],
    )
    session.add(study)
    session.flush()
    return study


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
