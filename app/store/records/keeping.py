"""A record written down, and read back as the value it was entered as."""

from dataclasses import fields
from typing import Any, TypeVar

from sqlalchemy.orm import Session

from app.store.tables import Base

Record = TypeVar("Record", bound=Base)
Entry = TypeVar("Entry")


def keep(session: Session, record: Record) -> Record:
    """The record, written down: from now on it has its id."""
    session.add(record)
    session.flush()
    return record


def as_entry(kind: type[Entry], record: Any, **more: Any) -> Entry:
    """A value of `kind` from a record's columns of the same names, and from `more`."""
    names = (column.name for column in fields(kind) if column.init and column.name not in more)  # type: ignore[arg-type]
    return kind(**{name: getattr(record, name) for name in names}, **more)
