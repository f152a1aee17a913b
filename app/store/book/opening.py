"""Opening the book: looked at before it is touched, brought up to date, or left alone with words.

A damaged book is never written. SQLite would take an empty file for a new database and a missing
write-ahead log for an empty one, so both are judged here first, from what lies around them. A
server looks after its own files; there, only what stands in the database is judged.
"""

import os
import sqlite3
from contextlib import closing, suppress
from datetime import datetime
from pathlib import Path

from sqlalchemy import Engine, inspect
from sqlalchemy.exc import SQLAlchemyError

from app.core.values.forms import plural
from app.store.book.acts import count_acts, read_note
from app.store.book.backup import (
    BackupFailed,
    describe_backup,
    last_good_backup,
    make_backup,
)
from app.store.book.backup_places import places_of
from app.store.book.locks import Lock, lock_of
from app.store.book.migrating import current_revision, migrate_book, needs_migrating, refuse_newer
from app.store.book.newer import say_newer
from app.store.book.sessions import Sessions
from app.store.book.upkeep import FAILED_NAME, UPKEEP_NAME, read_upkeep
from app.store.engines import check_settings, engine_kind, make_folder, open_book_engine
from app.store.files import PHOTOS_NAME, partial_of, remove_database, say_disk
from app.store.postgresql.addresses import DATABASE_NAME, find_address
from app.store.problems import BookProblem
from app.store.sqlite_files import open_still, read_schema

HEADER = b"SQLite format 3\x00"
# What a program that was killed may leave in the book's folder: copies of all that is in it.
EXPORTING_NAME = ".exporting.zip"
LEFT_OVER = (".moving.sqlite3", ".importing.sqlite3", ".restoring.sqlite3", EXPORTING_NAME)


def open_sessions(book: Path, scripts: Path, now: datetime) -> Sessions:
    """Open the book at this program's schema; raises BookProblem with the book unchanged."""
    make_folder(book)
    try:
        lock = lock_of(book)
        try:
            return _open_locked(lock, book, scripts, now)
        except BaseException:
            lock.release()
            raise
    except (sqlite3.Error, SQLAlchemyError) as error:
        raise BookProblem(
            f"The book in {book} can't be opened: {getattr(error, 'orig', None) or error}. "
            "Nothing in it has been changed."
        ) from error


def _open_locked(lock: Lock, book: Path, scripts: Path, now: datetime) -> Sessions:
    alone = lock.take_alone()
    if not alone:
        lock.share()
    if alone:
        clear_left_over(book)
    on_server = find_address(book) is not None
    is_new = False if on_server else inspect_book(book, now, alone=alone, scripts=scripts)
    sessions = Sessions(open_book_engine(book), lock, book)
    try:
        if on_server:
            is_new = inspect_server(sessions.engine, book, now)
        _bring_up_to_date(sessions, book, scripts, now, alone=alone, is_new=is_new)
        if alone:
            words = engine_kind(sessions.engine).make_index(sessions.engine)
            sessions.said = " ".join(part for part in (sessions.said, words) if part)
            lock.share()
        lock.join(sessions.engine)
    except BaseException:
        sessions.engine.dispose()
        raise
    return sessions


def clear_left_over(book: Path) -> None:
    """Remove what was left beside the book; whoever is still at it holds the book's lock."""
    for name in LEFT_OVER:
        with suppress(OSError):
            remove_database(book / name)
            partial_of(book / name).unlink(missing_ok=True)
    (book / "in-use.json").unlink(missing_ok=True)  # an earlier program's


def _bring_up_to_date(
    sessions: Sessions, book: Path, scripts: Path, now: datetime, *, alone: bool, is_new: bool
) -> None:
    check_settings(sessions.engine)
    if not needs_migrating(sessions.engine, scripts):
        return
    if not alone:
        raise BookProblem(
            "This book has to be brought up to date, and another Laybook has it open. "
            "Close that one first; nothing has been changed."
        )
    if not is_new:
        try:
            made = make_backup(book, read_upkeep(book, now), "before_upgrade", now)
        except BackupFailed as failed:
            raise BookProblem(
                "The book has to be brought up to date, but could not be backed up first: "
                f"{failed}. Nothing has been changed."
            ) from failed
        sessions.said = (
            f"The book was brought up to date; before that it was backed up: "
            f"{describe_backup(made)}."
        )
    migrate_book(sessions.engine, scripts)


def inspect_book(book: Path, now: datetime, *, alone: bool, scripts: Path) -> bool:
    """Look at the book without touching it; say whether it is new; raises BookProblem.

    The file is read before SQLite opens it: closing a file later would let go of SQLite's locks.
    """
    path = book / DATABASE_NAME
    log = path.with_name(f"{DATABASE_NAME}-wal")
    size = path.stat().st_size if path.exists() else 0
    if size == 0:
        if find_traces(book) or (log.exists() and log.stat().st_size):
            what = "is empty" if path.exists() else "is missing"
            raise damaged(book, now, f"its database {DATABASE_NAME} {what}")
        return True
    if not alone:
        return False
    if not os.access(path, os.W_OK) or not os.access(book, os.W_OK):
        raise BookProblem(
            f"The book in {book} can only be read; this program may not write there. "
            "Nothing has been changed."
        )
    try:
        with path.open("rb") as file:
            header = file.read(len(HEADER))
    except OSError as error:
        raise damaged(book, now, f"its database can't be read: {say_disk(error)}") from error
    if header != HEADER:
        raise damaged(book, now, "its database does not begin as one does")
    _inspect_pages(book, now, scripts)
    return False


def inspect_server(engine: Engine, book: Path, now: datetime) -> bool:
    """Look at a server's database without touching it: is it new? Raises BookProblem."""
    check_settings(engine)
    if current_revision(engine) is not None:
        return False
    refuse_strangers(engine)
    if traces := find_traces(book):
        raise damaged(
            book, now, f"its database is empty, though the folder holds its {', '.join(traces)}"
        )
    return True


def refuse_strangers(engine: Engine) -> None:
    """Raise BookProblem if a database without a book holds anything else."""
    if inspect(engine).get_table_names():
        raise BookProblem(
            "That database holds something else than a book. Make one for the book alone; "
            "nothing has been changed."
        )


def find_traces(book: Path) -> list[str]:
    """Name what only a book leaves in its folder, beside the database."""
    names = (
        UPKEEP_NAME,
        FAILED_NAME,
        PHOTOS_NAME,
        *(place.name for place in places_of(book, None)),
    )
    return [name for name in names if (book / name).exists()]


def _inspect_pages(book: Path, now: datetime, scripts: Path) -> None:
    try:
        with closing(open_still(book / DATABASE_NAME)) as connection:
            faults = [str(row[0]) for row in connection.execute("PRAGMA quick_check(3)")]
            schema, acts = read_schema(connection), count_acts(connection)
    except sqlite3.OperationalError as error:
        if getattr(error, "sqlite_errorname", "").startswith("SQLITE_BUSY"):
            raise BookProblem(
                "Another program holds the book's database. Close it and start again; nothing "
                "has been changed."
            ) from error
        raise damaged(book, now, f"its database can't be read: {error}") from error
    except sqlite3.DatabaseError as error:
        raise damaged(book, now, f"its database can't be read: {error}") from error
    if faults != ["ok"]:
        raise damaged(book, now, f"its database is damaged: {faults[0]}")
    refuse_newer(schema, scripts)
    if lost := max(0, read_note(book) - acts):
        raise damaged(
            book,
            now,
            f"{plural(lost, 'act')} that stood only in its log, {DATABASE_NAME}-wal, "
            f"{'is' if lost == 1 else 'are'} gone from it (forms that were kept, or drafts of what "
            "was being typed). If that log still lies somewhere, put it back beside the database "
            "and start again. To go on without, say so with "
            f"“laybook check --as-it-is --book {book}”",
        )


def damaged(book: Path, now: datetime, what: str) -> BookProblem:
    """Say what is wrong with a book, that nothing was changed, and which backup is good."""
    lines = [f"The book in {book} can't be opened: {what}.", "Nothing in it has been changed."]
    good = last_good_backup(book, read_upkeep(book, now))
    if good:
        lines += [
            f"The last good backup is {describe_backup(good)}. {say_newer(book, good)}",
            "To put it in the book's place (what is there now is set aside, not thrown away):",
            f"    laybook restore {good.number} --book {book}",
        ]
    else:
        lines += [
            "No backup of it was found. If you have one elsewhere, name its folder:",
            f"    laybook restore FOLDER --book {book}",
        ]
    return BookProblem("\n".join(lines))
