"""Papers as issued: numbered, kept with what they printed, and never made again."""

from datetime import date, datetime
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from app.store.jobs import add_event
from app.store.tables import Job, Slip


def issue_slip(
    session: Session,
    job: Job,
    kind: str,
    label: str,
    *,
    paper: str,
    printed: dict[str, Any],
    html: str,
    picture: bytes | None,
    today: date,
    now: datetime,
) -> Slip:
    """Keep a paper as printed, under the next number."""
    slip = Slip(
        number=next_slip_number(session),
        job_id=job.id,
        kind=kind,
        issued_on=today,
        issued_at=now,
        paper=paper,
        printed=printed,
        html=html,
        picture=picture,
    )
    session.add(slip)
    session.flush()
    add_event(session, job, "slip", today, now, f"{label}, slip {slip.number}")
    return slip


def next_slip_number(session: Session) -> int:
    """Give the number the next paper will carry."""
    return (session.scalar(select(func.max(Slip.number))) or 0) + 1


def get_slip(session: Session, number: int) -> Slip | None:
    """Give an issued paper by its number."""
    return session.scalar(select(Slip).where(Slip.number == number))
