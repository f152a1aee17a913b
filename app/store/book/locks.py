"""Who has the book open: shared by every program that uses it, alone by one that rebuilds it.

The lock is the system's own, on a small file beside the database, so that a program that dies
lets go of it; of a book on a server it is the server's, held by a connection. The databases' locks
guard each act; this one guards what is larger than a transaction: bringing a book up to date, and
putting another file in its place.
"""

import os
import time
import weakref
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any, Protocol

import portalocker
from sqlalchemy import URL, Engine, event, text
from sqlalchemy.exc import SQLAlchemyError

from app.store.engines import open_address
from app.store.files import say_disk
from app.store.postgresql.addresses import find_address
from app.store.postgresql.server import OPEN, OURS
from app.store.problems import BookProblem

LOCK_NAME = "book.lock"
WAIT_S = 15.0
_SCHEMA = "SELECT version_num FROM alembic_version"


class Outdated(BookProblem):
    """Another bench brought the book up to date while this program had it open."""


class Lock(Protocol):
    """The hold a program has on a book."""

    def take_alone(self) -> bool:
        """Take the book for this program alone, if nobody else has it open."""

    def share(self, wait_s: float = WAIT_S) -> None:
        """Join the others that have the book open; waits for one that is rebuilding it."""

    def join(self, engine: Engine) -> None:
        """Let every connection of the program say that it has the book open."""

    def release(self) -> None:
        """Let go."""


def lock_of(book: Path) -> Lock:
    """The lock of a book, wherever its records lie; raises BookProblem."""
    address = find_address(book)
    return ServerLock(address) if address else BookLock(book)


class BookLock:
    """The hold this program has on a book."""

    def __init__(self, folder: Path) -> None:
        try:
            self._file: int | None = os.open(folder / LOCK_NAME, os.O_RDWR | os.O_CREAT, 0o600)
        except OSError as error:
            raise BookProblem(
                f"The book's folder {folder} can't be used: {say_disk(error)}. "
                "Nothing has been changed."
            ) from error
        self._closing = weakref.finalize(self, os.close, self._file)

    def take_alone(self) -> bool:
        """Take the book for this program alone, if nobody else has it open."""
        return self._take(portalocker.LockFlags.EXCLUSIVE)

    def share(self, wait_s: float = WAIT_S) -> None:
        """Join the others that have the book open; waits for one that is rebuilding it."""
        _wait_for(lambda: self._take(portalocker.LockFlags.SHARED), wait_s)

    def join(self, engine: Engine) -> None:
        """Do nothing: the file is locked by the program, not by its connections."""

    def _take(self, kind: portalocker.LockFlags) -> bool:
        if self._file is None:
            return False
        try:
            portalocker.lock(self._file, kind | portalocker.LockFlags.NON_BLOCKING)
        except portalocker.exceptions.AlreadyLocked:
            return False
        return True

    def release(self) -> None:
        """Let go."""
        self._file = None
        self._closing()


def _wait_for(taken: Callable[[], bool], wait_s: float) -> None:
    given_up_at = time.monotonic() + wait_s
    while not taken():
        if time.monotonic() > given_up_at:
            raise BookProblem(
                "Another Laybook is rebuilding this book. Wait until it is done, then start "
                "again; nothing has been changed."
            )
        time.sleep(0.05)


class ServerLock:
    """The hold this program has on a book whose records lie on a PostgreSQL server.

    It is taken on a connection of its own while the book is opened, then shared by every connection
    of the program: a server that was started anew is joined again with the first page.
    """

    def __init__(self, address: URL) -> None:
        self._engine = open_address(address)
        self._connection = self._engine.connect().execution_options(isolation_level="AUTOCOMMIT")
        self._held: str | None = None  # how: the ending of the server's own name for it

    def take_alone(self) -> bool:
        """Take the book for this program alone, if nobody else has it open."""
        return self._take("")

    def share(self, wait_s: float = WAIT_S) -> None:
        """Join the others that have the book open; waits for one that is rebuilding it."""
        _wait_for(lambda: self._take("_shared"), wait_s)

    def _take(self, kind: str) -> bool:
        if kind == self._held:
            return True
        asked = f"SELECT pg_try_advisory_lock{kind}({OURS}, {OPEN})"
        if not self._connection.execute(text(asked)).scalar_one():
            return False
        if self._held is not None:  # held both ways for a moment, so that nobody comes between
            let_go = f"SELECT pg_advisory_unlock{self._held}({OURS}, {OPEN})"
            self._connection.execute(text(let_go))
        self._held = kind
        return True

    def join(self, engine: Engine) -> None:
        """Let every connection of the program hold the book open, at the schema it has now."""
        with engine.connect() as connection:
            schema = connection.execute(text(_SCHEMA)).scalar_one()

        def hold(connection: Any, _record: object) -> None:
            connection.autocommit = True  # the lock is the connection's, not a transaction's
            connection.execute(f"SELECT pg_advisory_lock_shared({OURS}, {OPEN})")
            schema_now = connection.execute(_SCHEMA).fetchone()
            connection.autocommit = False
            if schema_now is None or schema_now[0] != schema:
                raise Outdated(
                    "Another bench brought this book up to date. Stop Laybook here and start the "
                    "newer one; nothing of this page was kept."
                )

        event.listen(engine, "connect", hold)
        engine.dispose()

    def release(self) -> None:
        """Let go."""
        with suppress(SQLAlchemyError):
            self._connection.close()
        self._engine.dispose()
