"""Exports to test with: a book written out and brought in, and all that it says as one hash."""

from pathlib import Path

from sqlalchemy import MetaData

from app.store.book.contents import content_hash
from app.store.book.exporting import export_book
from app.store.book.importing import import_book, inspect_export
from app.store.book.sessions import open_book_engine
from app.store.tables import Base
from app.web.settings import VERSION
from tests.conftest import NOON
from tests.store.scripts import MIGRATIONS

PROGRAM = f"Laybook {VERSION}"


def export(book: Path, target: Path, metadata: MetaData = Base.metadata):
    """Export a book as it lies in its folder."""
    engine = open_book_engine(book)
    with engine.connect() as connection:
        export_book(
            connection, book / "photos", target, program=PROGRAM, now=NOON, metadata=metadata
        )
    engine.dispose()


def hash_book(book: Path):
    engine = open_book_engine(book)
    with engine.connect() as connection:
        found = content_hash(connection, book / "photos")
    engine.dispose()
    return found


def bring(book: Path, path: Path):
    return import_book(book, path, MIGRATIONS, NOON)


def take(book: Path, path: Path):
    """Do what the command does: look at all of it, then bring it in."""
    inspect_export(path, MIGRATIONS)
    bring(book, path)
