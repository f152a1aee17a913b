"""SQLite's files as such: looked at, checked, counted, copied as they stand at one moment."""

import sqlite3
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from urllib.parse import quote

from app.store.files import keep_private, sync_file

BUSY_S = 30.0


def open_still(path: Path, *, alone: bool = False) -> sqlite3.Connection:
    """Open a database for looking only; `alone` promises that nobody writes it meanwhile."""
    address = f"file:{quote(str(path.resolve()))}?mode=ro{'&immutable=1' if alone else ''}"
    return sqlite3.connect(address, uri=True, isolation_level=None, timeout=BUSY_S)


def find_damage(connection: sqlite3.Connection) -> list[str]:
    """Check a database page by page, index by index and reference by reference."""
    try:
        damage = [str(row[0]) for row in connection.execute("PRAGMA integrity_check(20)")]
        if damage == ["ok"]:
            damage = []
        broken = connection.execute("PRAGMA foreign_key_check").fetchmany(20)
        return damage + [f"a line of “{row[0]}” points to one of “{row[2]}” that is not there"
                        for row in broken]  # fmt: skip
    except sqlite3.DatabaseError as error:
        return [str(error)]


def count_rows(connection: sqlite3.Connection) -> dict[str, int]:
    """Count the rows of every table; the search index is made from them and not counted."""
    names = connection.execute(
        "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite!_%' "
        "ESCAPE '!' AND name NOT LIKE '%!_search%' ESCAPE '!' ORDER BY name"
    ).fetchall()
    return {
        name: connection.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0]  # noqa: S608
        for (name,) in names
    }


def copy_database(
    source: sqlite3.Connection,
    target: sqlite3.Connection,
    *,
    when_locked: Callable[[], None] | None = None,
) -> None:
    """Copy a database as it stands at one moment; raises TimeoutError if it stays locked.

    `when_locked` is called once, when the target is locked against other writers and nothing in
    it is changed yet; if it raises, the target stays as it was.
    """
    given_up_at = time.monotonic() + BUSY_S
    waiting = [when_locked] if when_locked else []

    def watch(status: int, _remaining: int, _total: int) -> None:
        if status in {sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED}:
            if time.monotonic() > given_up_at:
                raise TimeoutError
        elif waiting:
            waiting.pop()()

    pages = -1
    if when_locked:
        # The first step must not be the last: the call comes between them.
        pages = max(1, int(source.execute("PRAGMA page_count").fetchone()[0]) // 50)
    source.backup(target, pages=pages, progress=watch, sleep=0.05)


def copy_database_file(source: Path, target: Path) -> list[str]:
    """Copy a database into a new file as it stands at one moment; gives its damage in words."""
    keep_private(target)
    with (
        closing(open_still(source)) as from_database,
        closing(sqlite3.connect(target, isolation_level=None)) as to_database,
    ):
        to_database.execute("PRAGMA synchronous=OFF")  # forced to the disk as a whole below
        copy_database(from_database, to_database)
    return settle_file(target)


def settle_file(path: Path) -> list[str]:
    """Make a database one file on the disk, with no log beside it; gives its damage in words."""
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.execute("PRAGMA journal_mode=DELETE")
        damage = find_damage(connection)
    sync_file(path)
    return damage


def read_schema(connection: sqlite3.Connection) -> str:
    """Name the schema a database has; empty if it has none."""
    try:
        row = connection.execute("SELECT version_num FROM alembic_version").fetchone()
    except sqlite3.OperationalError:
        return ""
    return str(row[0]) if row else ""
