"""Putting a backup in the book's place, after keeping what it replaces.

A sound book is replaced inside SQLite, as one transaction: servers that have it open see either
the old book or the restored one, and a kill in the middle leaves the old. A damaged book is set
aside as files, and the backup takes its name. On a server the same happens to its records, in one
transaction of the server's.
"""

import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime
from itertools import count
from pathlib import Path

from sqlalchemy import URL
from sqlalchemy.exc import DBAPIError

from app.store.book.acts import forget_note
from app.store.book.backup import (
    POOL_NAME,
    Backup,
    BackupFailed,
    check_backup,
    describe_backup,
    list_backups,
    make_backup,
    pool_place,
    read_backup,
)
from app.store.book.copies import copy_records, is_empty, remove_records
from app.store.book.locks import BookLock
from app.store.book.migrating import current_revision, migrate_book, needs_migrating, refuse_newer
from app.store.book.upkeep import Upkeep, keep_upkeep, read_upkeep
from app.store.engines import (
    check_settings,
    engine_kind,
    let_go,
    make_folder,
    open_address,
    open_engine,
)
from app.store.files import (
    PHOTOS_NAME,
    copy_whole,
    database_files,
    hash_file,
    make_private_folder,
    remove_database,
    say_disk,
    sync_file,
    sync_folder,
)
from app.store.names import is_photo_file, is_plain_name, place_within
from app.store.postgresql.addresses import DATABASE_NAME, find_address
from app.store.problems import BookProblem
from app.store.records.photos import refuse_strange_names
from app.store.sqlite_files import copy_database, find_damage, open_still, settle_file

ASIDE_NAME = "set-aside"


@dataclass(frozen=True, slots=True)
class Restored:
    """What a restore did: which backup, and where what it replaced is kept."""

    backup: Backup
    kept: str


def find_backup(book: Path, upkeep: Upkeep, named: str) -> Backup:
    """Find a backup by its number or its folder; raises BookProblem."""
    if named.isdecimal():
        backup = next((b for b in list_backups(book, upkeep) if b.number == int(named)), None)
    else:
        backup = read_backup(Path(named))
    if backup is None:
        raise BookProblem(f"There is no backup “{named}”. “laybook backup --list” names them all.")
    return backup


def restore_backup(book: Path, backup: Backup, scripts: Path, now: datetime) -> Restored:
    """Put a backup in the book's place; raises BookProblem with the book as it was."""
    make_folder(book)
    if astray := next((name for name in backup.photos if not is_plain_name(name)), None):
        raise BookProblem(
            f"The backup {describe_backup(backup)} names a photo {astray!r}, which leads out of "
            "the book. It was not written by this program; nothing has been changed."
        )
    if faults := check_backup(backup):
        raise BookProblem(
            f"The backup {describe_backup(backup)} is not good: {faults[0]}. "
            "Nothing has been changed; choose another."
        )
    refuse_newer(backup.schema, scripts)
    upkeep = read_upkeep(book, now)
    fresh = book / ".restoring.sqlite3"
    try:
        remove_database(fresh)
        _prepare(backup, fresh, scripts)
        _bring_photos(book, backup, now)
        if address := find_address(book):
            _make_ready(address, scripts)
            kept = _replace_inside(fresh, book, upkeep, now)
        elif _is_sound(book):
            kept = _replace_inside(fresh, book, upkeep, now)
        else:
            kept = _replace_file(fresh, book, now)
        keep_upkeep(book, upkeep)
    except BackupFailed as failed:
        raise BookProblem(
            f"What the backup would replace could not be kept: {failed}. Nothing has been changed."
        ) from failed
    except TimeoutError as error:
        raise BookProblem("The book was busy for too long. Nothing has been changed.") from error
    except (sqlite3.Error, DBAPIError) as error:
        said = getattr(error, "orig", None) or error
        raise BookProblem(f"Restoring failed ({said}). The book is as it was.") from error
    except OSError as error:
        raise BookProblem(f"Restoring failed: {say_disk(error)}. The book is as it was.") from error
    finally:
        remove_database(fresh)
    return Restored(backup, kept)


def _prepare(backup: Backup, fresh: Path, scripts: Path) -> None:
    """Copy the backup beside the book and bring the copy to this program's schema."""
    if copy_whole(backup.database, fresh) != backup.sha256:
        raise BookProblem("The backup did not arrive as it was. Nothing has been changed.")
    with let_go(open_engine(fresh.parent, fresh.name)) as engine:
        migrate_book(engine, scripts)
        with engine.connect() as connection:
            refuse_strange_names(connection, f"The backup {describe_backup(backup)}")
    if damage := settle_file(fresh):
        raise BookProblem(f"The backup is damaged: {damage[0]}. Nothing has been changed.")


def _bring_photos(book: Path, backup: Backup, now: datetime) -> None:
    """Bring back photos that are missing or differ; one that differs is set aside first.

    What an earlier program backed up from the photographs' folder, though it was none of the
    book's, stays in the backup.
    """
    photos, pool = book / PHOTOS_NAME, backup.folder.parent / POOL_NAME
    for name, mark in backup.photos.items():
        if not is_photo_file(name):
            continue
        place = photos / name
        if place.exists() or place.is_symlink():
            if place.is_file() and hash_file(place) == mark.sha256:
                continue
            aside = free_aside(book, now, f"{PHOTOS_NAME}/{name}")
            make_private_folder(aside.parent)
            place.rename(aside)
        if copy_whole(pool_place(pool, mark.sha256), place_within(photos, name)) != mark.sha256:
            raise BookProblem(f"The photo {name} did not arrive as it was. The book is as it was.")


def _is_sound(book: Path) -> bool:
    path = book / DATABASE_NAME
    if not path.exists() or path.stat().st_size == 0:
        return False
    try:
        with closing(open_still(path)) as connection:
            return not find_damage(connection)
    except sqlite3.DatabaseError:
        return False


def _replace_inside(fresh: Path, book: Path, upkeep: Upkeep, now: datetime) -> str:
    kept: list[Backup] = []

    def keep_first() -> None:
        kept.append(make_backup(book, upkeep, "before_restore", now))

    replace_inside(fresh, book, keep_first)
    if not kept:  # on a server whose database was empty
        return "There were no records to keep."
    return f"What it replaced is backup {describe_backup(kept[0])}."


def replace_inside(fresh: Path, book: Path, keep_first: Callable[[], None]) -> None:
    """Replace the book in one transaction; what it replaces is backed up inside that transaction.

    SQLite holds the write lock from the first page copied to the last, so the backup that
    `keep_first` makes in between is the very state that is replaced: nothing written by others
    falls in a gap. If it raises, the book stays as it was.
    """
    if address := find_address(book):
        _replace_on_server(fresh, address, keep_first)
        return

    def keep_and_forget() -> None:
        keep_first()
        forget_note(book)  # nobody else can write: the next act is one of the new database's

    with (
        closing(open_still(fresh, alone=True)) as source,
        closing(sqlite3.connect(book / DATABASE_NAME, isolation_level=None, timeout=5)) as target,
    ):
        target.execute("PRAGMA synchronous=FULL")
        copy_database(source, target, when_locked=keep_and_forget)


def _replace_on_server(fresh: Path, address: URL, keep_first: Callable[[], None]) -> None:
    """Replace a server's records in one transaction; what it replaces is backed up inside it.

    The writers' lock is held from before the backup to the last row: nothing falls in a gap.
    """
    copied = open_engine(fresh.parent, fresh.name)
    with let_go(open_address(address)) as engine, let_go(copied) as file:
        writing = engine.execution_options(writes=True)
        with file.connect() as source, source.begin(), writing.begin() as target:
            engine_kind(target).take_time(target)
            if not is_empty(target):
                keep_first()
                remove_records(target)
            copy_records(source, target)


def _make_ready(address: URL, scripts: Path) -> None:
    """Make the tables in a server's database that has none; refuse one of an earlier schema."""
    with let_go(open_address(address)) as engine:
        check_settings(engine)
        if current_revision(engine) is None:
            migrate_book(engine, scripts)
        elif needs_migrating(engine, scripts):
            raise BookProblem(
                "Bring the book up to date first: laybook migrate. Nothing has been changed."
            )


def free_aside(book: Path, now: datetime, name: str) -> Path:
    """A place for what is put out of the book's way at this moment, where nothing lies yet."""
    begun = book / ASIDE_NAME / f"{now.astimezone():%Y-%m-%d-%H%M%S}"
    folders = (begun.with_name(f"{begun.name}-{n}") if n else begun for n in count())
    return next(folder / name for folder in folders if not (folder / name).exists())


def _replace_file(fresh: Path, book: Path, now: datetime) -> str:
    lock = BookLock(book)
    try:
        if not lock.take_alone():
            raise BookProblem(
                "Laybook has this book open. Close it first; nothing has been changed."
            )
        there = [file for file in database_files(book / DATABASE_NAME) if file.exists()]
        kept = "There was no database to keep."
        if there:
            folder = free_aside(book, now, there[0].name).parent
            make_private_folder(folder)
            # The damaged database gives up its name last, so that a kill in between leaves
            # a book that still refuses to start rather than an empty one.
            for file in reversed(there):
                shutil.copy2(file, folder / file.name)
                sync_file(folder / file.name)
            sync_folder(folder)
            for file in there[1:]:
                file.unlink()
            kept = f"What it replaced is set aside in {folder}."
        forget_note(book)
        fresh.replace(book / DATABASE_NAME)
        sync_folder(book)
    finally:
        lock.release()
    return kept
