"""The shop's own wordings; without one, the usual wording stands."""

from collections.abc import Mapping

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.core.jobs.messages import MESSAGE_KINDS, Wording
from app.store.tables import MessageText


def list_wordings(session: Session) -> dict[str, Wording]:
    """Each kind's wording."""
    own = {
        text.kind: Wording(text.subject, text.body) for text in session.scalars(select(MessageText))
    }
    return {key: own.get(key, kind.usual) for key, kind in MESSAGE_KINDS.items()}


def save_wordings(session: Session, wordings: Mapping[str, Wording]) -> None:
    """Keep the shop's wordings."""
    for key, wording in wordings.items():
        kept = session.get(MessageText, key)
        if kept is None:
            session.add(MessageText(kind=key, subject=wording.subject, body=wording.body))
        else:
            kept.subject, kept.body = wording.subject, wording.body
    session.flush()
