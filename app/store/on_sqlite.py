"""SQLite: a file in the book's folder, written by one at a time, read by any number meanwhile.

Every writer takes the write lock at once (BEGIN IMMEDIATE): a transaction that reads first and
writes later would fail under a second writer whatever the busy timeout.
"""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from sqlalchemy import Connection, Engine, text

from app.store.problems import BookProblem

BUSY_TIMEOUT_MS = 8000
PRAGMAS: dict[str, int | str] = {
    "foreign_keys": 1,
    "journal_mode": "wal",
    "synchronous": 2,
    "busy_timeout": BUSY_TIMEOUT_MS,
    "cache_size": -8000,  # kB that a connection may keep of what it read
}
# More connections than the server has threads: a page waits for the database, never for those.
# The last one used comes first: it still has in memory what the page before has read.
OPTIONS: dict[str, Any] = {
    "connect_args": {"check_same_thread": False},
    "pool_size": 20,
    "max_overflow": 40,
    "pool_use_lifo": True,
}
TROUBLES = {
    "SQLITE_BUSY": "busy",
    "SQLITE_LOCKED": "busy",
    "SQLITE_FULL": "full",
    "SQLITE_READONLY": "read_only",
    "SQLITE_CORRUPT": "damaged",
    "SQLITE_NOTADB": "damaged",
}


def prepare(connection: Any) -> None:
    """Set a new connection up; the driver must not begin transactions of its own."""
    connection.isolation_level = None
    for name, value in PRAGMAS.items():
        connection.execute(f"PRAGMA {name}={value}")


def begin(connection: Connection, *, writes: bool) -> None:
    """Begin a transaction; one that writes takes the write lock at once."""
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def count_act(connection: Connection) -> int:
    """Count a writing transaction in the database itself; gives its number."""
    number = int(connection.exec_driver_sql("PRAGMA user_version").scalar_one()) + 1
    connection.exec_driver_sql(f"PRAGMA user_version = {number}")
    return number


def check_settings(engine: Engine) -> None:
    """Read the settings back; raise BookProblem if the database did not take one."""
    with engine.connect() as connection:
        for name, wanted in PRAGMAS.items():
            setting = connection.execute(text(f"PRAGMA {name}")).scalar_one()
            if setting != wanted:
                raise BookProblem(
                    f"The book's database answers {name} = {setting} where {wanted} is needed. "
                    "Is its folder on a network drive? Keep the book on this machine's own disk."
                )


@contextmanager
def rebuilding(connection: Connection) -> Iterator[None]:
    """Hold references unwatched while tables are rebuilt, in one writing transaction.

    Batch mode copies tables; with foreign keys on, dropping the old copy would cascade. The pragma
    only takes effect outside a transaction, so it comes before BEGIN.
    """
    raw = connection.connection.dbapi_connection
    if raw is None:
        raise BookProblem("The book's database could not be reached.")
    raw.cursor().execute("PRAGMA foreign_keys=OFF")
    try:
        with connection.begin():
            yield
    finally:
        raw.cursor().execute("PRAGMA foreign_keys=ON")


def list_triggers(connection: Connection) -> set[str]:
    """Name the triggers."""
    triggers = text("SELECT name FROM sqlite_master WHERE type = 'trigger'")
    return set(connection.execute(triggers).scalars())


def find_faults(connection: Connection) -> list[str]:
    """Say what a migration would leave broken: references, pages."""
    faults = []
    if broken := connection.execute(text("PRAGMA foreign_key_check")).all():
        faults.append(f"{len(broken)} references would break")
    pages = connection.execute(text("PRAGMA integrity_check")).scalars().all()
    if pages != ["ok"]:
        faults.append(f"the database would be damaged ({pages[0]})")
    return faults


def write_anew(engine: Engine) -> bool:
    """Write the file anew, so that no free page, nor its log, holds what was removed."""
    raw = engine.raw_connection()
    try:
        cursor = raw.cursor()
        cursor.execute("VACUUM")
        cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        busy = cursor.fetchone()
        cursor.close()
    except sqlite3.Error:
        return False
    finally:
        raw.close()
    return busy is not None and not busy[0]


def name_trouble(error: BaseException | None) -> str:
    """Name the trouble behind the driver's error; empty if the error is none of the driver's."""
    name = str(getattr(error, "sqlite_errorname", ""))
    if not name:
        return "busy" if isinstance(error, sqlite3.Error) else ""
    return TROUBLES.get("_".join(name.split("_")[:2]), "unknown")


def is_beyond(error: BaseException) -> bool:
    """Say whether a number was asked for that the database cannot count to."""
    return isinstance(error, OverflowError)
