"""The book: one folder with a database in it, opened with settings that are read back.

Every writer takes the write lock at once (BEGIN IMMEDIATE): a transaction that reads first and
writes later would fail under a second writer whatever the busy timeout.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Engine, create_engine, event, text
from sqlalchemy.orm import Session, sessionmaker

from app.store.backup import DATABASE_NAME
from app.store.files import say_disk
from app.store.locks import BookLock, BookProblem
from app.store.lookups import index_changes
from app.store.remembering import forget_what_changes

__all__ = [
    "DATABASE_NAME",
    "BeyondNumbers",
    "BookProblem",
    "Sessions",
    "check_settings",
    "open_engine",
]

BUSY_TIMEOUT_MS = 8000
PRAGMAS: dict[str, int | str] = {
    "foreign_keys": 1,
    "journal_mode": "wal",
    "synchronous": 2,
    "busy_timeout": BUSY_TIMEOUT_MS,
}


def open_engine(folder: Path, name: str = DATABASE_NAME) -> Engine:
    """Open the book's database (made on first use) with the settings that keep it whole."""
    make_folder(folder)
    address = URL.create("sqlite", database=str(folder / name))
    # More connections than the server has threads: a page waits for the database, never for those.
    engine = create_engine(
        address, connect_args={"check_same_thread": False}, pool_size=20, max_overflow=40
    )
    event.listen(engine, "connect", _on_connect)
    event.listen(engine, "begin", _on_begin)
    event.listen(engine, "handle_error", _on_error)
    return engine


class BeyondNumbers(Exception):  # noqa: N818 - nobody erred but who asked
    """A number was asked for that no record can have: larger than the database can count."""


def _on_error(context: Any) -> None:
    if isinstance(context.original_exception, OverflowError):
        raise BeyondNumbers from context.original_exception


def make_folder(folder: Path) -> None:
    """Make the book's folder; raises BookProblem."""
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)  # its owner's alone
    except OSError as error:
        raise BookProblem(
            f"The book's folder {folder} can't be made: {say_disk(error)}."
        ) from error


def _on_connect(connection: Any, _record: object) -> None:
    # The driver must not begin transactions of its own: _on_begin does.
    connection.isolation_level = None
    for name, value in PRAGMAS.items():
        connection.execute(f"PRAGMA {name}={value}")


def _on_begin(connection: Any) -> None:
    writes = connection.get_execution_options().get("writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def check_settings(engine: Engine) -> None:
    """Read the settings back; raise BookProblem if the database did not take one."""
    with engine.connect() as connection:
        for name, wanted in PRAGMAS.items():
            found = connection.execute(text(f"PRAGMA {name}")).scalar_one()
            if found != wanted:
                raise BookProblem(
                    f"The book's database answers {name} = {found} where {wanted} is needed. "
                    "Is its folder on a network drive? Keep the book on this machine's own disk."
                )


class Sessions:
    """Two kinds of session: one that only reads, one that holds the write lock from the start."""

    def __init__(self, engine: Engine, lock: BookLock | None = None) -> None:
        self.engine = engine
        self._lock = lock
        self.said = ""  # what happened while it was opened, to be told once
        self._reading = sessionmaker(engine, expire_on_commit=False)
        self._writing = sessionmaker(engine.execution_options(writes=True), expire_on_commit=False)
        event.listen(self._writing, "after_flush", index_changes)
        forget_what_changes(self._reading, only_looking=True)
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

    def alone_now(self) -> bool:
        """Take the book for this program alone, if nobody else has it open."""
        return self._lock is not None and self._lock.take_alone()

    def close(self) -> None:
        """Close the book; the last to leave empties the write-ahead log into it."""
        self.engine.dispose()
        if self._lock:
            self._lock.release()
