"""A form pressed twice makes one record: its token is kept with where it led."""

from datetime import datetime

from sqlalchemy.orm import Session

from app.store.tables import Submission


def find_submission(session: Session, token: str) -> str | None:
    """Say where this form led when it was taken before; None if it is new."""
    if not token:
        return None
    found = session.get(Submission, token)
    return found.location if found else None


def keep_submission(session: Session, token: str, location: str, now: datetime) -> None:
    """Note that this form was taken, in the same transaction as what it made."""
    if token:
        session.add(Submission(token=token[:64], location=location, at=now))
        session.flush()
