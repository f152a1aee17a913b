"""Exports to test with: a book written out and brought in, and all that it says as one hash."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import Connection, MetaData

from app.store.book.contents import content_hash
from app.store.book.exporting import export_book
from app.store.book.importing import import_book, inspect_export
from app.store.engines import open_book_engine
from app.store.tables import Base
from app.web.settings import VERSION
from tests.conftest import NOON
from tests.store.scripts import MIGRATIONS

PROGRAM = f"Laybook {VERSION}"


@contextmanager
def looking(book: Path) -> Iterator[Connection]:
    """Open a book as it lies in its folder, for one look."""
    engine = open_book_engine(book)
    try:
        with engine.connect() as connection:
            yield connection
    finally:
        engine.dispose()


def export(book: Path, target: Path, metadata: MetaData = Base.metadata):
    """Export a book as it lies in its folder."""
    with looking(book) as connection:
        export_book(
            connection, book / "photos", target, program=PROGRAM, now=NOON, metadata=metadata
        )


def hash_book(book: Path):
    with looking(book) as connection:
        return content_hash(connection, book / "photos")


def bring(book: Path, path: Path):
    return import_book(book, path, MIGRATIONS, NOON)


def take(book: Path, path: Path):
    """Do what the command does: look at all of it, then bring it in."""
    inspect_export(path, MIGRATIONS)
    bring(book, path)
