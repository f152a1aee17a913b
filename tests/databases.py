"""The same tests on PostgreSQL, where LAYBOOK_TEST_DATABASE names a server.

It is an address such as postgresql+psycopg://laybook@127.0.0.1:55432/; each book gets a database of
its own there.

A new book is a copy (CREATE DATABASE … TEMPLATE) of one that the migrations made; all are dropped
at the end.
"""

import os
import shutil
import uuid
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import URL, create_engine, make_url

from app.store.postgresql.addresses import NOTE_NAME, find_address, keep_address

SERVER = os.environ.get("LAYBOOK_TEST_DATABASE", "")
NEEDED = os.environ.get("LAYBOOK_TEST_DATABASE_NEEDED", "")  # a run without a server is a failure
NO_SERVER = "no PostgreSQL server: LAYBOOK_TEST_DATABASE does not name one"
MAKE = "TEMPLATE template0 ENCODING 'UTF8' LC_COLLATE 'C' LC_CTYPE 'C.UTF-8'"

_made: list[str] = []
_copies: list[str] = []  # of one test


@contextmanager
def _administering():
    engine = create_engine(
        make_url(SERVER).set(database="postgres"), isolation_level="AUTOCOMMIT", pool_size=1
    )
    try:
        with engine.connect() as connection:
            yield connection
    finally:
        engine.dispose()


def make_database(template: URL | None = None, *, of_test: bool = False) -> URL:
    """Make a database, empty or as a copy of another; gives its address."""
    name = f"laybook_test_{uuid.uuid4().hex[:16]}"
    how = f'TEMPLATE "{template.database}"' if template else MAKE
    with _administering() as connection:
        if template:  # a copy is made only of what nobody has open; a pool opens it again
            connection.exec_driver_sql(
                "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = %s",
                (template.database,),
            )
        connection.exec_driver_sql(f'CREATE DATABASE "{name}" {how}')
    (_copies if of_test else _made).append(name)
    return make_url(SERVER).set(database=name)


def drop_databases(*, of_test: bool = False) -> None:
    """Drop every database that one test made, or the run."""
    made = _copies if of_test else _made
    if not made:
        return
    with _administering() as connection:
        while made:
            connection.exec_driver_sql(f'DROP DATABASE IF EXISTS "{made.pop()}" WITH (FORCE)')


def lay_on_server(folder: Path) -> Path:
    """Let a book that is about to begin lie on the server, if the tests are to run there."""
    if SERVER:
        folder.mkdir(parents=True, exist_ok=True)
        keep_address(folder, make_database())
    return folder


def copy_book(book: Path, to: Path) -> Path:
    """Copy a book that nobody has open, its records with it."""
    shutil.copytree(book, to)
    if (to / NOTE_NAME).exists():
        keep_address(to, make_database(find_address(book), of_test=True))
    return to
