"""Who has the book open: shared by every program that uses it, alone by one that rebuilds it.

The lock is the system's own, on a small file beside the database, so that a program that dies
lets go of it. SQLite's locks guard each act; this one guards what is larger than a transaction:
bringing a book up to date, and putting another file in its place.
"""

import os
import time
import weakref
from pathlib import Path

import portalocker

from app.store.files import say_disk

LOCK_NAME = "book.lock"
WAIT_S = 15.0


class BookProblem(Exception):  # noqa: N818 - shown to the maker, named as they would
    """The book can't be opened or used; the message says why and what to do, in words."""


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
        given_up_at = time.monotonic() + wait_s
        while not self._take(portalocker.LockFlags.SHARED):
            if time.monotonic() > given_up_at:
                raise BookProblem(
                    "Another Laybook is rebuilding this book. Wait until it is done, then start "
                    "again; nothing has been changed."
                )
            time.sleep(0.05)

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
