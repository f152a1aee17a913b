"""Drafts: what is being typed, kept by the page it is typed on until it is kept or discarded."""

from collections.abc import Mapping
from datetime import datetime

from sqlalchemy import delete
from sqlalchemy.orm import Session

from app.store.records.keeping import keep
from app.store.tables import Draft


def keep_draft(session: Session, place: str, fields: Mapping[str, str], now: datetime) -> None:
    """Keep what is typed on a page, in place of its earlier draft; nothing typed is no draft."""
    drop_draft(session, place)
    if fields:
        keep(session, Draft(place=place, fields=dict(fields), at=now))


def drop_draft(session: Session, place: str) -> None:
    """Forget a page's draft: it was kept, or is not wanted."""
    session.execute(delete(Draft).where(Draft.place == place))
