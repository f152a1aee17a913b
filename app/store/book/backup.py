"""Backups: the whole book as it stood at one moment, checked, then kept by a rotation.

A backup is a folder: the database as SQLite's own backup gives it (never a copied file: what is
still in the write-ahead log would be missing) and a manifest of hashes. It is made under a
temporary name and renamed when all of it is on the disk and has been read back, so a backup that
fails leaves those before it alone. Photos never change once taken; each lies once in a pool
beside the backups, named by its hash. Records on a server go into the same kind of file.
"""

import json
import shutil
import sqlite3
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from urllib.parse import quote

import portalocker
from sqlalchemy.exc import DBAPIError

from app.core.shop.backups import REASONS, BackupMark, choose_kept
from app.store.book.copies import copy_to_file, still
from app.store.book.upkeep import Upkeep, is_plugged_in
from app.store.engines import name_trouble
from app.store.files import (
    PHOTOS_NAME,
    copy_whole,
    hash_file,
    say_disk,
    sync_file,
    sync_folder,
    write_json,
)
from app.store.postgresql.addresses import DATABASE_NAME, find_address
from app.store.problems import BookProblem

BACKUPS_NAME = "backups"
POOL_NAME = "photos"
MANIFEST_NAME = "manifest.json"
MANIFEST_FORM = 1
BUSY_S = 30.0


class BackupFailed(Exception):  # noqa: N818 - shown to the maker
    """No backup was made; those before it are as they were."""


@dataclass(frozen=True, slots=True)
class PhotoMark:
    """A photo in a backup: enough to find it in the pool and to know it unchanged in the book."""

    sha256: str
    size: int
    mtime_ns: int


@dataclass(frozen=True, slots=True)
class Backup:
    """One finished backup, as its manifest says."""

    number: int
    made_at: datetime
    reason: str
    folder: Path
    schema: str
    sha256: str
    size: int
    rows: Mapping[str, int]
    photos: Mapping[str, PhotoMark]

    @property
    def database(self) -> Path:
        """Its database."""
        return self.folder / DATABASE_NAME

    @property
    def mark(self) -> BackupMark:
        """What the rotation looks at."""
        return BackupMark(self.number, self.made_at.astimezone().date(), self.reason)

    @property
    def label(self) -> str:
        """What it was made for, in words."""
        return REASONS.get(self.reason, self.reason)


def own_folder(book: Path) -> Path:
    """Give the book's own backup folder; what is made before something irreversible lies here."""
    return book / BACKUPS_NAME


def backup_folders(book: Path, upkeep: Upkeep) -> list[Path]:
    """List where this book's backups lie."""
    own = own_folder(book)
    return [own] if upkeep.folder in {None, own} else [own, Path(str(upkeep.folder))]


def list_backups(book: Path, upkeep: Upkeep) -> list[Backup]:
    """List the finished backups, newest first."""
    found = [one for folder in backup_folders(book, upkeep) for one in _in_folder(folder)]
    return sorted(found, key=lambda one: -one.number)


def _in_folder(folder: Path) -> Iterator[Backup]:
    try:
        names = sorted(folder.glob(f"[0-9]*/{MANIFEST_NAME}"))
    except OSError:
        return
    for manifest in names:
        if found := read_backup(manifest.parent):
            yield found


def read_backup(folder: Path) -> Backup | None:
    """Read a backup's manifest; None if the folder holds none."""
    try:
        kept = json.loads((folder / MANIFEST_NAME).read_text())
        return Backup(
            number=int(kept["number"]),
            made_at=datetime.fromisoformat(kept["made_at"]).astimezone(UTC),
            reason=str(kept["reason"]),
            folder=folder,
            schema=str(kept["schema"]),
            sha256=str(kept["database"]["sha256"]),
            size=int(kept["database"]["size"]),
            rows={str(name): int(count) for name, count in kept["rows"].items()},
            photos={
                str(name): PhotoMark(one["sha256"], one["size"], one["mtime_ns"])
                for name, one in kept["photos"].items()
            },
        )
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None


def open_still(path: Path, *, alone: bool = False) -> sqlite3.Connection:
    """Open a database for looking only; `alone` promises that nobody writes it meanwhile."""
    address = f"file:{quote(str(path.resolve()))}?mode=ro{'&immutable=1' if alone else ''}"
    return sqlite3.connect(address, uri=True, isolation_level=None, timeout=BUSY_S)


def find_damage(connection: sqlite3.Connection) -> list[str]:
    """Check a database page by page, index by index and reference by reference."""
    try:
        found = [str(row[0]) for row in connection.execute("PRAGMA integrity_check(20)")]
        if found == ["ok"]:
            found = []
        broken = connection.execute("PRAGMA foreign_key_check").fetchmany(20)
        return found + [f"a line of “{row[0]}” points to one of “{row[2]}” that is not there"
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


def make_backup(
    book: Path, upkeep: Upkeep, reason: str, now: datetime, *, into: Path | None = None
) -> Backup:
    """Back the book up and let the rotation go over the folder; raises BackupFailed.

    What is made before something irreversible goes to the book's own folder, so that an unplugged
    stick never stands in the way.
    """
    target = into or (upkeep.folder if not reason.startswith("before_") else None)
    own = own_folder(book)
    try:
        if target is None or target == own:
            own.mkdir(exist_ok=True)
            target = own
        elif not is_plugged_in(target, upkeep):
            raise BackupFailed(f"the folder {target} is not there. Is its disk plugged in?")
        with _one_at_a_time(target):
            made = _make(book, upkeep, target, reason, now)
            _rotate(target, upkeep)
    except (sqlite3.Error, DBAPIError) as error:
        trouble = name_trouble(error.orig if isinstance(error, DBAPIError) else error)
        raise BackupFailed(_TROUBLES.get(trouble, "the database refused")) from error
    except BookProblem as problem:
        raise BackupFailed(str(problem).rstrip(".")) from problem
    except TimeoutError as error:
        raise BackupFailed(_TROUBLES["busy"]) from error
    except OSError as error:
        raise BackupFailed(say_disk(error)) from error
    return made


# What a database's trouble means for a backup; the keys are `engines.name_trouble`'s.
_TROUBLES = {
    "busy": "the book was busy for too long",
    "full": "the disk is full",
    "damaged": "the book's database is damaged",
    "away": "the database server can't be reached",
}


@contextmanager
def _one_at_a_time(target: Path) -> Iterator[None]:
    with (target / ".making.lock").open("a") as file:
        try:
            portalocker.lock(file, portalocker.LOCK_EX | portalocker.LOCK_NB)
        except portalocker.exceptions.AlreadyLocked:
            raise BackupFailed("another backup is being made just now") from None
        yield


def _make(book: Path, upkeep: Upkeep, target: Path, reason: str, now: datetime) -> Backup:
    for left_over in target.glob(".partial-*"):
        shutil.rmtree(left_over)
    before = list_backups(book, upkeep)
    number = max((one.number for one in [*before, *_in_folder(target)]), default=0) + 1
    partial = target / f".partial-{number:06d}"
    partial.mkdir()
    try:
        schema, rows = _copy_checked(book, partial / DATABASE_NAME)
        photos = _copy_photos(book / PHOTOS_NAME, target / POOL_NAME, before)
        manifest = {
            "form": MANIFEST_FORM,
            "number": number,
            "made_at": now.isoformat(),
            "reason": reason,
            "schema": schema,
            "database": {
                "name": DATABASE_NAME,
                "sha256": hash_file(partial / DATABASE_NAME),
                "size": (partial / DATABASE_NAME).stat().st_size,
            },
            "rows": rows,
            "photos": {
                name: {"sha256": one.sha256, "size": one.size, "mtime_ns": one.mtime_ns}
                for name, one in photos.items()
            },
        }
        write_json(partial / MANIFEST_NAME, manifest)
        done = target / f"{number:06d}-{now.astimezone():%Y-%m-%d-%H%M}-{reason}"
        partial.rename(done)
        sync_folder(target)
    except BaseException:
        shutil.rmtree(partial, ignore_errors=True)
        raise
    made = read_backup(done)
    if made is None:
        raise BackupFailed("it could not be read back")
    return made


def _copy_checked(book: Path, target: Path) -> tuple[str, dict[str, int]]:
    if address := find_address(book):
        with still(address) as source:
            copy_to_file(source, target)
    else:
        _copy_file(book / DATABASE_NAME, target)
    with closing(open_still(target, alone=True)) as made:
        if damage := find_damage(made):
            raise BackupFailed(f"the book's database is damaged: {damage[0]}")
        return read_schema(made), count_rows(made)


def _copy_file(source: Path, target: Path) -> None:
    here = closing(open_still(source))
    with (
        here as from_database,
        closing(sqlite3.connect(target, isolation_level=None)) as to_database,
    ):
        to_database.execute("PRAGMA synchronous=OFF")  # forced to the disk as a whole below
        copy_database(from_database, to_database)
        # One file, with no log beside it.
        to_database.execute("PRAGMA journal_mode=DELETE")
    sync_file(target)


def read_schema(connection: sqlite3.Connection) -> str:
    """Name the schema a database has; empty if it has none."""
    try:
        found = connection.execute("SELECT version_num FROM alembic_version").fetchone()
    except sqlite3.OperationalError:
        return ""
    return str(found[0]) if found else ""


def _copy_photos(photos: Path, pool: Path, before: list[Backup]) -> dict[str, PhotoMark]:
    """Bring new photos into the pool; those the last backup knew unchanged are not read again."""
    known: Mapping[str, PhotoMark] = before[0].photos if before else {}
    found: dict[str, PhotoMark] = {}
    for path in sorted(photos.rglob("*")):
        if not path.is_file() or path.name.startswith("."):
            continue
        name, state = path.relative_to(photos).as_posix(), path.stat()
        was = known.get(name)
        unchanged = was and (was.size, was.mtime_ns) == (state.st_size, state.st_mtime_ns)
        sha256 = was.sha256 if was and unchanged else hash_file(path)
        pooled = pool_place(pool, sha256)
        if not pooled.exists() or pooled.stat().st_size != state.st_size:
            if copy_whole(path, pooled) != sha256:
                pooled.unlink()
                raise BackupFailed(f"the photo {name} did not arrive as it was")
            sync_folder(pooled.parent.parent)
        found[name] = PhotoMark(sha256, state.st_size, state.st_mtime_ns)
    return found


def pool_place(pool: Path, sha256: str) -> Path:
    """Give a photo's place in the pool."""
    return pool / sha256[:2] / sha256


def _rotate(target: Path, upkeep: Upkeep) -> None:
    """Let go of what the rotation doesn't keep; a name is given up before its files are."""
    here = list(_in_folder(target))
    kept = choose_kept([one.mark for one in here], upkeep.rotation)
    for one in here:
        if one.number not in kept:
            going = target / f".partial-going-{one.number:06d}"
            one.folder.rename(going)
            shutil.rmtree(going)
    needed = {mark.sha256 for one in here if one.number in kept for mark in one.photos.values()}
    for pooled in (target / POOL_NAME).glob("??/*"):
        if pooled.name not in needed:
            pooled.unlink()


def check_backup(backup: Backup) -> list[str]:
    """Read a backup back, every byte of it; gives what is wrong in words."""
    try:
        if hash_file(backup.database) != backup.sha256:
            return ["its database is not as it was written"]
        with closing(open_still(backup.database, alone=True)) as connection:
            faults = find_damage(connection)
        pool = backup.folder.parent / POOL_NAME
        for name, mark in backup.photos.items():
            pooled = pool_place(pool, mark.sha256)
            if not pooled.is_file() or hash_file(pooled) != mark.sha256:
                faults.append(f"the photo {name} is not as it was written")
    except OSError as error:
        return [f"it can't be read: {say_disk(error)}"]
    except sqlite3.DatabaseError as error:
        return [f"its database can't be read: {error}"]
    return faults


def last_good_backup(book: Path, upkeep: Upkeep) -> Backup | None:
    """Give the newest backup that can be read back whole."""
    return next((one for one in list_backups(book, upkeep) if not check_backup(one)), None)


def describe_backup(backup: Backup) -> str:
    """Name a backup in words."""
    when = backup.made_at.astimezone()
    return f"no. {backup.number} of {when.day} {when:%B %Y, %H:%M} ({backup.label})"


def size_of(backup: Backup) -> dict[str, Any]:
    """Say what a backup holds, for a page or a line."""
    return {
        "jobs": backup.rows.get("job", 0),
        "pieces": backup.rows.get("piece", 0),
        "photos": len(backup.photos),
        "mb": backup.size / 1e6,
    }
