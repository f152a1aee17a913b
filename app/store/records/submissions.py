"""A form pressed twice makes one record: its token is kept with where it led and what it said."""

from datetime import datetime

from sqlalchemy.orm import Session

from app.store.records.keeping import keep
from app.store.tables import Submission


def find_submission(session: Session, token: str) -> Submission | None:
    """Find the form taken under this token; None if it is new."""
    return session.get(Submission, token) if token else None


def keep_submission(
    session: Session, token: str, location: str, digest: str, now: datetime
) -> None:
    """Note that this form was taken, in the same transaction as what it made."""
    if token:
        keep(session, Submission(token=token[:64], location=location, digest=digest, at=now))
