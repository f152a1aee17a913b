"""The book: one folder, and a database opened with settings that are read back.

Two kinds of session use it: one that only reads, and one that writes and is the only one to do so
until it commits, whatever database holds the records (`engines.py`).
"""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import Engine, event
from sqlalchemy.orm import Session, sessionmaker

from app.store.book.acts import note_acts
from app.store.book.locks import Lock
from app.store.engines import (
    engine_kind,
)
from app.store.records.search import index_changes
from app.store.records.session_cache import forget_what_changes


class Sessions:
    """Two kinds of session: one that only reads, one that holds the write lock from the start."""

    def __init__(self, engine: Engine, lock: Lock | None = None, book: Path | None = None) -> None:
        self.engine = engine
        self._lock = lock
        self.far = engine_kind(engine).far
        self.said = ""  # what happened while it was opened, to be told once
        reading = engine.execution_options(**engine_kind(engine).reading)
        self._reading = sessionmaker(reading, expire_on_commit=False)
        self._writing = sessionmaker(engine.execution_options(writes=True), expire_on_commit=False)
        if book:
            note_acts(self._writing, book)
        event.listen(self._writing, "after_flush", index_changes)
        forget_what_changes(self._reading)
        forget_what_changes(self._writing)

    @contextmanager
    def read(self) -> Iterator[Session]:
        """Open a session for looking only."""
        with self._reading() as session:
            yield session

    @contextmanager
    def write(self) -> Iterator[Session]:
        """Open a session that may write; the caller commits, anything else is undone."""
        with self._writing() as session:
            yield session

    def close(self) -> None:
        """Close the book; the last to leave empties SQLite's write-ahead log into it."""
        self.engine.dispose()
        if self._lock:
            self._lock.release()
