"""Moving a book's records between its folder and a PostgreSQL server; the folder stays the same.

What is moved is backed up first, copied into a place that holds no record, compared there, and only
then noted as where the book lies. A move that was broken off is taken up by the same command again:
a target that already says the same is not written a second time.
"""

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from sqlalchemy import URL, Connection
from sqlalchemy.exc import SQLAlchemyError

from app.store.book.acts import forget_note
from app.store.book.backup import Backup, BackupFailed, make_backup
from app.store.book.copies import copy_records, copy_to_file, hash_records, is_empty, still
from app.store.book.locks import ServerLock, lock_of
from app.store.book.migrating import current_revision, migrate_book, needs_migrating, schema_of
from app.store.book.opening import open_sessions, refuse_strangers
from app.store.book.restoring import free_aside
from app.store.book.upkeep import read_upkeep
from app.store.engines import (
    BeyondNumbers,
    check_settings,
    engine_kind,
    let_go,
    open_address,
    open_engine,
)
from app.store.files import (
    database_files,
    make_private_folder,
    remove_database,
    sync_folder,
)
from app.store.postgresql.addresses import (
    DATABASE_NAME,
    find_address,
    is_same,
    keep_address,
    say_address,
)
from app.store.problems import BookProblem

FRESH_NAME = ".moving.sqlite3"


@dataclass(frozen=True, slots=True)
class Moved:
    """What a move did: the backup made before, and what became of where the records lay."""

    backup: Backup
    left: str


def move_book(book: Path, to: URL | None, scripts: Path, now: datetime) -> Moved:
    """Move a book's records to a server, or with None into its folder; raises BookProblem."""
    begin = find_address(book)
    if (begin is None and to is None) or (begin and to and is_same(begin, to)):
        raise BookProblem("The book's records lie there already. Nothing has been changed.")
    if begin and to:
        raise BookProblem(
            "From one server to another a book goes by its folder: move it to “sqlite” first. "
            "Nothing has been changed."
        )
    if not book.is_dir():
        raise BookProblem(f"There is no book in {book}.")
    open_sessions(book, scripts, now).close()  # looked at, and brought up to date
    lock = lock_of(book)
    try:
        if not lock.take_alone():
            raise BookProblem(
                "Laybook has this book open. Close it on every bench first; nothing has been "
                "changed."
            )
        made = make_backup(book, read_upkeep(book, now), "before_move", now)
        if to:
            left = _to_server(book, to, scripts, now)
        elif begin:
            left = _to_folder(book, begin)
    except BackupFailed as failed:
        raise BookProblem(
            f"The book could not be backed up first: {failed}. Nothing has been changed."
        ) from failed
    except BeyondNumbers as error:
        raise BookProblem(
            "The book was not moved: a text or a number in it is none that PostgreSQL can keep "
            f"({error.__cause__}). It is as it was."
        ) from error
    except SQLAlchemyError as error:
        said = getattr(error, "orig", None) or error
        raise BookProblem(f"The book was not moved: {said}. It is as it was.") from error
    finally:
        lock.release()
    return Moved(made, left)


def _to_server(book: Path, to: URL, scripts: Path, now: datetime) -> str:
    lock = ServerLock(to)
    try:
        if not lock.take_alone():
            raise BookProblem("Another Laybook has that database open. Nothing has been changed.")
        _fill_server(book, to, scripts)
    finally:
        lock.release()
    keep_address(book, to)
    folder = _set_aside(book, now)
    forget_note(book)
    return f"The file it was in is set aside in {folder}; nothing writes there any more."


def _fill_server(book: Path, to: URL, scripts: Path) -> None:
    with let_go(open_address(to)) as engine, let_go(open_engine(book)) as file:
        check_settings(engine)
        if current_revision(engine) is None:
            refuse_strangers(engine)
            migrate_book(engine, scripts)
        elif needs_migrating(engine, scripts):
            raise BookProblem(
                "That database holds a book of an earlier schema. Nothing has been changed."
            )
        writing = engine.execution_options(writes=True)
        with file.connect() as source, source.begin(), writing.begin() as target:
            engine_kind(target).take_time(target)
            if is_empty(target):
                copy_records(source, target)
            else:
                _refuse_other(source, target)
        engine_kind(engine).make_index(engine)


def _refuse_other(source: Connection, target: Connection) -> None:
    if schema_of(source) != schema_of(target) or hash_records(source) != hash_records(target):
        raise BookProblem(
            "That place holds another book, or this one as it was at another time. A book is moved "
            "only where there is none. Nothing has been changed."
        )


def _set_aside(book: Path, now: datetime) -> Path:
    folder = free_aside(book, now, DATABASE_NAME).parent
    make_private_folder(folder)
    for file in database_files(book / DATABASE_NAME):
        if file.exists():
            file.rename(folder / file.name)
    sync_folder(book)
    return folder


def _to_folder(book: Path, begin: URL) -> str:
    fresh = book / FRESH_NAME
    remove_database(fresh)
    with still(begin) as source:
        if (book / DATABASE_NAME).exists():
            _compare_file(source, book)
        else:
            if damage := copy_to_file(source, fresh):
                raise BookProblem(f"The records did not arrive as they were: {damage[0]}.")
            forget_note(book)
            fresh.replace(book / DATABASE_NAME)
            sync_folder(book)
    keep_address(book, None)
    where = say_address(begin)
    return (
        f"{where[0].upper()}{where[1:]} still holds it as it was, and nothing writes there any "
        "more: delete it when you have looked."
    )


def _compare_file(source: Connection, book: Path) -> None:
    with let_go(open_engine(book)) as file, file.connect() as target, target.begin():
        _refuse_other(source, target)
