"""How many acts a book holds: counted in the database, and noted beside it once they are kept.

An act is one writing transaction. It adds one to SQLite's `user_version`, which is part of the
database: the number is in the log with the act, in the file once the log is folded in, whoever does
that, and in every backup. A file that counts fewer than the note has lost what stood only in its
log. A server looks after its own log; there nothing is counted.
"""

import os
import sqlite3
from contextlib import suppress
from pathlib import Path

from sqlalchemy import Connection, event
from sqlalchemy.orm import Session, sessionmaker

from app.store.engines import engine_kind

NOTE_NAME = "last-act.txt"


def count_acts(database: sqlite3.Connection) -> int:
    """The number of acts that a database holds."""
    return int(database.execute("PRAGMA user_version").fetchone()[0])


def note_acts(writing: sessionmaker[Session], book: Path) -> None:
    """Count the acts of sessions that write, and note each once it is kept."""

    def count(session: Session, _transaction: object, connection: Connection) -> None:
        session.info["act"] = engine_kind(connection).count_act(connection)

    def note(session: Session) -> None:
        if act := session.info.pop("act", 0):
            _note(book, act)

    event.listen(writing, "after_begin", count)
    event.listen(writing, "after_commit", note)


def _note(book: Path, act: int) -> None:
    """Write the note in place, not forced to the disk: the act is, and comes before."""
    # A disk that refuses the note has taken the act: an older note raises no suspicion.
    with suppress(OSError):
        if act > read_note(book):
            opened = os.open(book / NOTE_NAME, os.O_WRONLY | os.O_CREAT, 0o600)
            try:
                os.write(opened, b"%10d\n" % act)
            finally:
                os.close(opened)


def read_note(book: Path) -> int:
    """The number of the last act that was kept; 0 if none was noted."""
    try:
        return int((book / NOTE_NAME).read_text())
    except (OSError, ValueError):
        return 0


def forget_note(book: Path) -> None:
    """Forget the last act: another database takes the book's place, or the file is taken as is."""
    (book / NOTE_NAME).unlink(missing_ok=True)
