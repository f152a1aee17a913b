"""Taking an export into an empty book: all of it, equal by its hashes, or nothing.

The rows are written into a fresh database of the export's own schema beside the book, compared
with the hashes in the list, and brought to this program's schema; only then does the whole take
the empty book's place, in one transaction, as a restored backup does.
"""

import shutil
import sqlite3
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from sqlalchemy import Connection, MetaData, create_engine
from sqlalchemy.exc import SQLAlchemyError
from sqlalchemy.orm import Session

from app.store.book.backup import BackupFailed, make_backup
from app.store.book.contents import (
    PASSING,
    hash_marks,
    hash_rows,
    is_content,
    list_photo_files,
    list_tables,
    read_rows,
    write_late,
    write_rows,
)
from app.store.book.copies import count_records, still
from app.store.book.export_files import (
    PHOTOS,
    Export,
    check_files,
    open_export,
    read_table,
)
from app.store.book.locks import BookLock
from app.store.book.migrating import is_known, migrate_book
from app.store.book.restoring import replace_inside
from app.store.book.upkeep import read_upkeep
from app.store.engines import let_go, open_engine
from app.store.files import (
    PHOTOS_NAME,
    hash_file,
    make_private_folder,
    remove_database,
    say_disk,
    sync_folder,
    written_whole,
)
from app.store.names import is_photo_file, place_within
from app.store.postgresql.addresses import DATABASE_NAME, find_address
from app.store.problems import BookProblem
from app.store.records.photos import refuse_strange_names
from app.store.records.search import rebuild_index
from app.store.records.shop import start_book
from app.store.sqlite_files import count_rows, open_still, settle_file
from app.store.tables import Base

FRESH_NAME = ".importing.sqlite3"
UNCHANGED = "Nothing has been changed."


@dataclass(frozen=True, slots=True)
class Imported:
    """What an import brought in."""

    made_at: datetime
    jobs: int
    pieces: int
    photos: int


def inspect_export(path: Path, scripts: Path) -> None:
    """Read a whole export; raises BookProblem if anything in it is not as it was written."""
    with open_export(path) as export:
        _refuse_newer(export, scripts)
        check_files(export)


def _refuse_newer(export: Export, scripts: Path) -> None:
    if not is_known(export.manifest.schema, scripts):
        raise BookProblem(
            f"{export.path.name} was written by a newer Laybook ({export.manifest.program}) than "
            f"this one. Use the newer one. {UNCHANGED}"
        )


def import_book(book: Path, path: Path, scripts: Path, now: datetime) -> Imported:
    """Take an export into an empty book; raises BookProblem with the book as it was."""
    fresh, placed, lock = book / FRESH_NAME, list[Path](), BookLock(book)
    try:
        lock.share()
        with open_export(path) as export:
            _refuse_newer(export, scripts)
            refuse_filled(book)
            _refuse_foreign_photos(book, export)
            _refuse_too_large(book, export)
            remove_database(fresh)
            _fill(export, fresh, scripts)
            _bring_photos(book, export, placed)
            with closing(open_still(fresh, alone=True)) as connection:
                rows = count_rows(connection)
            replace_inside(fresh, book, lambda: _keep_first(book, now))
    except BaseException as error:
        for photo in placed:
            photo.unlink(missing_ok=True)
        if words := _say(error, path):
            raise BookProblem(f"The import failed: {words}. {UNCHANGED}") from error
        raise
    finally:
        remove_database(fresh)
        lock.release()
    return Imported(export.manifest.made_at, rows["job"], rows["piece"], rows["photo"])


def _say(error: BaseException, path: Path) -> str:
    """Say in words why an import failed; nothing if the error already does."""
    if isinstance(error, BackupFailed):
        return f"what it would replace could not be kept: {error}"
    if isinstance(error, TimeoutError):
        return "the book was busy for too long"
    if isinstance(error, OSError):
        return say_disk(error)
    if isinstance(error, ValueError):
        return f"a value in {path.name} is none of its column ({error})"
    if isinstance(error, SQLAlchemyError | sqlite3.Error):
        return f"what is in {path.name} does not fit together ({getattr(error, 'orig', error)})"
    return ""


def refuse_filled(book: Path) -> None:
    """Raise BookProblem unless the book is as a new one is."""
    counts = _counts_of(book)
    begun = _counts_of_new()
    filled = [
        name
        for name, count in counts.items()
        if is_content(name) and name not in PASSING and count != begun[name]
    ]
    if filled:
        raise BookProblem(
            f"The book in {book} is not empty. An export is only taken into a new book: name a "
            f"new folder with --book FOLDER. {UNCHANGED}"
        )


def _counts_of(book: Path) -> dict[str, int]:
    if address := find_address(book):
        with still(address) as connection:
            return count_records(connection)
    with closing(open_still(book / DATABASE_NAME)) as file:
        return count_rows(file)


def _counts_of_new() -> dict[str, int]:
    engine = create_engine("sqlite://")
    Base.metadata.create_all(engine)
    with Session(engine) as session:
        start_book(session)
        raw = session.connection().connection.dbapi_connection
        counts: dict[str, int] = count_rows(raw) if isinstance(raw, sqlite3.Connection) else {}
    engine.dispose()
    return counts


def _refuse_foreign_photos(book: Path, export: Export) -> None:
    """Refuse a book with photographs of its own; those of an import cut short are the export's."""
    photos = book / PHOTOS_NAME
    for name in list_photo_files(photos):
        mark = export.manifest.files.get(f"{PHOTOS}/{name}")
        if mark is None or mark.sha256 != hash_file(photos / name):
            raise BookProblem(
                f"In {photos} lie photographs already, such as {name}: the book is not empty. "
                f"{UNCHANGED}"
            )


def _refuse_too_large(book: Path, export: Export) -> None:
    wanted = 2 * sum(file.size for file in export.manifest.files.values())
    free = shutil.disk_usage(book).free
    if wanted > free:
        raise BookProblem(
            f"The import needs about {wanted / 1e6:.0f} MB and the disk has {free / 1e6:.0f} MB "
            f"free. {UNCHANGED}"
        )


def _fill(export: Export, fresh: Path, scripts: Path) -> None:
    """Make a database of the export's rows and bring it to this program's schema."""
    with let_go(open_engine(fresh.parent, fresh.name)) as engine:
        migrate_book(engine, scripts, export.manifest.schema)
        metadata = MetaData()
        metadata.reflect(engine, only=lambda name, _: is_content(name))
        with engine.execution_options(writes=True).begin() as connection:
            _write_tables(export, connection, metadata)
        migrate_book(engine, scripts)
        with engine.execution_options(writes=True).begin() as connection:
            rebuild_index(connection)
            refuse_strange_names(connection, export.path.name)
    if damage := settle_file(fresh):
        raise BookProblem(f"{export.path.name} does not fit together: {damage[0]}. {UNCHANGED}")


def _write_tables(export: Export, connection: Connection, metadata: MetaData) -> None:
    tables, late = list_tables(metadata), []
    if differing := {table.name for table in tables} ^ set(export.manifest.tables):
        raise BookProblem(
            f"{export.path.name} holds other tables than its schema has: "
            f"{', '.join(sorted(differing))}. {UNCHANGED}"
        )
    for table in tables:
        late.append((table, write_rows(connection, table, read_table(export, table))))
    for table, references in late:
        write_late(connection, table, references)
    for table in tables:
        if hash_rows(table, read_rows(connection, table)) != export.manifest.tables[table.name]:
            raise BookProblem(
                f"In {export.path.name} the table {table.name} does not say what its hash says. "
                f"{UNCHANGED}"
            )


def _bring_photos(book: Path, export: Export, placed: list[Path]) -> None:
    """Bring the photographs; what else an earlier export has beside them stays in the zip."""
    photos, listed = book / PHOTOS_NAME, []
    for path, mark in sorted(export.manifest.files.items()):
        folder, _, name = path.partition("/")
        if folder != PHOTOS:
            continue
        listed.append((name, mark.sha256))
        place = place_within(photos, name)
        if not is_photo_file(name) or place.exists():
            continue
        make_private_folder(photos)
        placed.append(place)
        with written_whole(place) as file:
            for chunk in export.read_chunks(path):
                file.write(chunk)
        if hash_file(place) != mark.sha256:
            raise BookProblem(f"The photograph {name} did not arrive as it was. {UNCHANGED}")
    if photos.exists():
        sync_folder(photos)
    if hash_marks(listed) != export.manifest.photos:
        raise BookProblem(f"The photographs of {export.path.name} did not arrive as they were.")


def _keep_first(book: Path, now: datetime) -> None:
    """Look once more, now that nobody else can write, and keep even an empty book."""
    refuse_filled(book)
    make_backup(book, read_upkeep(book, now), "before_import", now)
