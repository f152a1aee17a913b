"""Keeps what a record said before a change, so that no correction loses the earlier words."""

from collections.abc import Iterable, Sequence
from dataclasses import asdict
from datetime import UTC, date, datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.store.tables import Revision


class Conflict(Exception):  # noqa: N818 - two people wrote at once; nobody erred
    """The record was changed by somebody else since its page was opened; it is at `version` now.

    `changed` has what the book says and what was typed, by field.
    """

    def __init__(self, record: Any, changed: dict[str, tuple[str, str]]) -> None:
        super().__init__(record.__tablename__)
        self.version: int = record.version
        self.changed = changed


def change_record(
    session: Session,
    record: Any,
    changes: dict[str, Any],
    *,
    seen_version: int | None,
    now: datetime,
) -> bool:
    """Change a versioned record and keep what it said before; say whether anything changed.

    Raises Conflict, naming what differs, if the record is no longer at `seen_version`.
    """
    differing = find_differences(record, changes)
    if is_stale(record, seen_version) and differing:
        raise Conflict(record, show_differences(record, differing))
    if not differing:
        return False
    keep_revision(session, record, differing, now)
    for name, value in differing.items():
        setattr(record, name, value)
    record.version += 1
    session.flush()
    return True


def save_entry(
    session: Session, record: Any, entry: Any, seen_version: int | None, now: datetime
) -> None:
    """Change a record to what a value as typed says, keeping the earlier words; raises Conflict."""
    change_record(session, record, asdict(entry), seen_version=seen_version, now=now)


def is_stale(record: Any, seen_version: int | None) -> bool:
    """Say whether a record was changed since the page that is sent was opened."""
    return seen_version is not None and seen_version != record.version


def find_differences(record: Any, changes: dict[str, Any]) -> dict[str, Any]:
    """Leave those changes that would change something."""
    return {name: value for name, value in changes.items() if getattr(record, name) != value}


def show_differences(record: Any, differing: dict[str, Any]) -> dict[str, tuple[str, str]]:
    """Put what the book says beside what was typed, by field."""
    return {name: (_show(getattr(record, name)), _show(value)) for name, value in differing.items()}


def keep_revision(session: Session, record: Any, names: Iterable[str], now: datetime) -> None:
    """Write down what the named columns say now."""
    before = {name: _plain(getattr(record, name)) for name in names}
    noun = record.__tablename__
    session.add(Revision(noun=noun, record_id=record.id, at=now, before=before))


def list_revisions(session: Session, noun: str, record_id: int) -> Sequence[Revision]:
    """List a record's earlier words, newest first."""
    of = Revision.noun == noun, Revision.record_id == record_id
    return session.scalars(select(Revision).where(*of).order_by(Revision.id.desc())).all()


def _plain(value: Any) -> Any:
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat()
    return value.isoformat() if isinstance(value, date) else value


def _show(value: Any) -> str:
    return "" if value is None else str(_plain(value))
