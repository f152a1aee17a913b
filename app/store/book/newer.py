"""What a book holds that a backup of it doesn't: rows counted, told with the jobs' numbers."""

import sqlite3
from contextlib import closing
from pathlib import Path
from urllib.parse import quote

from app.core.values.forms import plural
from app.store.book.acts import count_acts, read_note
from app.store.book.backup import Backup
from app.store.book.contents import list_tables
from app.store.postgresql.addresses import DATABASE_NAME, find_address
from app.store.sqlite_files import open_still

# What is told by name; all else is told as further records.
_NOUNS = {
    "job": ("job", "jobs"),
    "piece": ("piece", "pieces"),
    "customer": ("customer", "customers"),
    "reading_set": ("reading set", "reading sets"),
    "bench_pass": ("pass", "passes"),
    "slip": ("issued paper", "issued papers"),
    "photo": ("photograph", "photographs"),
    "event": ("line of the jobs' history", "lines of the jobs' history"),
}
_MOST_NUMBERS = 12


def say_newer(book: Path, backup: Backup) -> str:
    """Say which acts of a book are newer than a backup, with numbers, or that nobody can tell."""
    path = book / DATABASE_NAME
    if find_address(book) is None and path.exists() and path.stat().st_size:
        try:
            with closing(open_still(path)) as connection:
                return _compare(connection, backup)
        except sqlite3.DatabaseError:
            pass
    with closing(open_still(backup.database, alone=True)) as kept:
        later = read_note(book) - count_acts(kept)
    counted = f": {plural(later, 'act')} by Laybook's own count" if later > 0 else ""
    return (
        f"What was kept after that backup can't be read any more{counted}. It is not in the backup."
    )


def _compare(connection: sqlite3.Connection, backup: Backup) -> str:
    connection.execute(
        "ATTACH ? AS kept", (f"file:{quote(str(backup.database.resolve()))}?mode=ro&immutable=1",)
    )
    counts = {
        table.name: connection.execute(f"SELECT count(*) FROM ({newer})").fetchone()[0]  # noqa: S608
        for table in list_tables()
        if (newer := _newer_rows(connection, table.name))
    }
    named = [plural(counts[name], *noun) for name, noun in _NOUNS.items() if counts.get(name)]
    rest = sum(count for name, count in counts.items() if name not in _NOUNS)
    if rest:
        named.append(plural(rest, "further record"))
    if not named:
        return "It holds every record that the file holds."
    return f"The file holds what that backup does not: {', '.join(named)}{_jobs(connection)}."


def _newer_rows(connection: sqlite3.Connection, name: str) -> str:
    """Write the query for a table's rows that the backup has not, or has otherwise."""
    columns = [
        [row[1] for row in connection.execute(f"PRAGMA {schema}.table_info({name})")]
        for schema in ("main", "kept")
    ]
    both = ", ".join(f'"{column}"' for column in columns[0] if column in columns[1])
    if not columns[0]:
        return ""
    if not both:
        return f"SELECT * FROM main.{name}"  # noqa: S608
    return f"SELECT {both} FROM main.{name} EXCEPT SELECT {both} FROM kept.{name}"  # noqa: S608


def _jobs(connection: sqlite3.Connection) -> str:
    newer = _newer_rows(connection, "event")
    if "job_id" not in newer:
        return ""
    numbers = [
        str(row[0])
        for row in connection.execute(
            f"SELECT DISTINCT number FROM ({newer}) JOIN main.job ON job.id = job_id ORDER BY 1"  # noqa: S608
        )
    ]
    if not numbers:
        return ""
    shown = numbers[:_MOST_NUMBERS]
    if more := len(numbers) - len(shown):
        shown.append(f"and {more} more")
    return f" (job{'s' if len(numbers) > 1 else ''} {', '.join(shown)})"
