"""The columns the shop at a glance looks at, without loading records."""

from datetime import date

from sqlalchemy import or_, select
from sqlalchemy.orm import Session

from app.core.jobs.stages import OPEN_STAGES
from app.core.shop.glance import JobFacts
from app.store.tables import Job, Payment, Piece


def list_job_facts(session: Session, since: date) -> list[JobFacts]:
    """List the jobs that are open, or came or went home since a day."""
    rows = session.execute(
        select(
            Job.stage,
            Job.dropped_off,
            Job.wanted_by,
            Job.returned_on,
            Piece.instrument_kind,
            Job.request,
        )
        .join(Piece, Piece.id == Job.piece_id)
        .where(or_(Job.stage.in_(OPEN_STAGES), Job.dropped_off >= since, Job.returned_on >= since))
    )
    return [JobFacts(*row) for row in rows]


def list_received(session: Session, since: date) -> list[tuple[date, int]]:
    """List what was paid since a day, struck payments left out."""
    rows = session.execute(
        select(Payment.paid_on, Payment.amount_minor).where(
            Payment.paid_on >= since, Payment.struck_at.is_(None)
        )
    )
    return [(paid_on, minor) for paid_on, minor in rows]
