"""Backups: the whole book as it stood at one moment, checked, then kept by a rotation.

A backup is a folder: the database as SQLite's own backup gives it (never a copied file: what is
still in the write-ahead log would be missing) and a manifest of hashes. It is made under another
name and renamed when all of it is on the disk and has been read back, so a backup that fails
leaves those before it alone. Photos never change once taken; each lies once in a pool beside the
backups, named by its hash. Records on a server go into the same kind of file.

Nothing is removed but what a list of this very book names. A backup that is let go of first gives
up its manifest's name; what is then left of it, or of one that was never finished, is removed by
that list, sooner or later.
"""

import json
import re
import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager, suppress
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import portalocker
from sqlalchemy.exc import DBAPIError

from app.core.shop.backups import REASONS, BackupMark, choose_kept
from app.store.book.backup_places import (
    EARLIER_NAME,
    Unusable,
    all_places,
    is_plugged_in,
    mark_place,
    owner_of,
    places_of,
)
from app.store.book.contents import list_photo_files
from app.store.book.copies import copy_to_file, still
from app.store.book.upkeep import Upkeep
from app.store.engines import name_trouble
from app.store.files import (
    PHOTOS_NAME,
    copy_whole,
    database_files,
    hash_file,
    keep_private,
    make_private_folder,
    partial_of,
    say_disk,
    sync_folder,
    write_json,
)
from app.store.names import is_hash, place_within
from app.store.postgresql.addresses import DATABASE_NAME, find_address
from app.store.problems import BookProblem
from app.store.sqlite_files import (
    copy_database_file,
    count_rows,
    find_damage,
    open_still,
    read_schema,
)

POOL_NAME = "photos"
MANIFEST_NAME = "manifest.json"
UNFINISHED_NAME = "unfinished.json"  # the list of a backup that is being made, or let go of
MAKING_NAME = "making"
MANIFEST_FORM = 1
_FOLDER = re.compile(r"[0-9]{6,}-[0-9]{4}-[0-9]{2}-[0-9]{2}-[0-9]{4}-[a-z_]+")


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
    """One finished backup, as its manifest says; earlier ones don't say of which book."""

    number: int
    made_at: datetime
    reason: str
    folder: Path
    book_id: str
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
        return BackupMark(self.number, self.made_at.date(), self.reason)

    @property
    def label(self) -> str:
        """What it was made for, in words."""
        return REASONS.get(self.reason, self.reason)


def list_backups(book: Path, upkeep: Upkeep) -> list[Backup]:
    """List the finished backups, newest first."""
    backups = [backup for place in all_places(book, upkeep) for backup in _in_place(place)]
    return sorted(backups, key=lambda backup: -backup.number)


def _in_place(place: Path) -> Iterator[Backup]:
    for folder in _folders_with(place, MANIFEST_NAME):
        if backup := read_backup(folder):
            yield backup


def _folders_with(place: Path, name: str) -> list[Path]:
    """List the folders named as a backup's that hold a list of that name."""
    try:
        paths = sorted(place.glob(f"[0-9]*/{name}"))
    except OSError:
        return []
    return [folder.parent for folder in paths if _FOLDER.fullmatch(folder.parent.name)]


def read_backup(folder: Path) -> Backup | None:
    """Read a backup's manifest; None if the folder holds none."""
    try:
        kept = json.loads((folder / MANIFEST_NAME).read_text())
        return Backup(
            number=int(kept["number"]),
            made_at=datetime.fromisoformat(kept["made_at"]).astimezone(),
            reason=str(kept["reason"]),
            folder=folder,
            book_id=str(kept.get("book_id", "")),
            schema=str(kept["schema"]),
            sha256=str(kept["database"]["sha256"]),
            size=int(kept["database"]["size"]),
            rows={str(name): int(count) for name, count in kept["rows"].items()},
            photos=_read_photos(kept),
        )
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None


def _read_photos(kept: Mapping[str, Any]) -> dict[str, PhotoMark]:
    """Read the photos of a list; raises ValueError for a hash that is none."""
    photos = {
        str(name): PhotoMark(str(mark["sha256"]), int(mark["size"]), int(mark["mtime_ns"]))
        for name, mark in kept["photos"].items()
    }
    if not all(is_hash(photo.sha256) for photo in photos.values()):
        raise ValueError("a photo's hash is none")
    return photos


def make_backup(
    book: Path, upkeep: Upkeep, reason: str, now: datetime, *, into: Path | None = None
) -> Backup:
    """Back the book up and let the rotation go over the place; raises BackupFailed.

    What is made before something irreversible goes to the book's own place, so that an unplugged
    stick never stands in the way.
    """
    chosen = into or (upkeep.folder if not reason.startswith("before_") else None)
    places = places_of(book, chosen)
    try:
        if chosen and not is_plugged_in(chosen, upkeep):
            raise BackupFailed(f"the folder {chosen} is not there. Is its disk plugged in?")
        mark_place(places[0], upkeep)
        with _one_at_a_time(places[0]):
            _clear_unfinished(book, places, upkeep)
            made = _make(book, upkeep, places[0], reason, now)
            _rotate(book, places, upkeep)
    except (sqlite3.Error, DBAPIError) as error:
        trouble = name_trouble(error.orig if isinstance(error, DBAPIError) else error)
        raise BackupFailed(_TROUBLES.get(trouble, "the database refused")) from error
    except (BookProblem, Unusable) as problem:
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
def _one_at_a_time(place: Path) -> Iterator[None]:
    keep_private(place / ".making.lock")
    with (place / ".making.lock").open("a") as file:
        try:
            portalocker.lock(file, portalocker.LOCK_EX | portalocker.LOCK_NB)
        except portalocker.exceptions.AlreadyLocked:
            raise BackupFailed("another backup is being made just now") from None
        yield


def _make(book: Path, upkeep: Upkeep, place: Path, reason: str, now: datetime) -> Backup:
    before = list_backups(book, upkeep)
    number = max((backup.number for backup in [*before, *_in_place(place)]), default=0) + 1
    making = place / MAKING_NAME
    done = place / f"{number:06d}-{now.astimezone():%Y-%m-%d-%H%M}-{reason}"
    make_private_folder(making)
    try:
        schema, rows = _copy_checked(book, making / DATABASE_NAME)
        photos = _mark_photos(book / PHOTOS_NAME, before)
        manifest = {
            "form": MANIFEST_FORM,
            "book_id": upkeep.book_id,
            "number": number,
            "made_at": now.isoformat(),
            "reason": reason,
            "schema": schema,
            "database": {
                "name": DATABASE_NAME,
                "sha256": hash_file(making / DATABASE_NAME),
                "size": (making / DATABASE_NAME).stat().st_size,
            },
            "rows": rows,
            "photos": {name: asdict(photo) for name, photo in photos.items()},
        }
        # Named before they are there: a backup that is broken off can be cleared away by its list.
        write_json(making / UNFINISHED_NAME, manifest)
        _copy_photos(book / PHOTOS_NAME, place / POOL_NAME, photos)
        making.rename(done)
        sync_folder(place)
        (done / UNFINISHED_NAME).rename(done / MANIFEST_NAME)
        sync_folder(done)
    except BaseException:
        with suppress(OSError):
            _clear(making)
            _clear(done)
        raise
    made = read_backup(done)
    if made is None:
        raise BackupFailed("it could not be read back")
    return made


def _copy_checked(book: Path, target: Path) -> tuple[str, dict[str, int]]:
    if address := find_address(book):
        with still(address) as source:
            damage = copy_to_file(source, target)
    else:
        damage = copy_database_file(book / DATABASE_NAME, target)
    if damage:
        raise BackupFailed(f"the book's database is damaged: {damage[0]}")
    with closing(open_still(target, alone=True)) as made:
        return read_schema(made), count_rows(made)


def _mark_photos(photos: Path, before: list[Backup]) -> dict[str, PhotoMark]:
    """Hash the photos; those the last backup knew unchanged are not read again."""
    known: Mapping[str, PhotoMark] = before[0].photos if before else {}
    marks: dict[str, PhotoMark] = {}
    for name in list_photo_files(photos):
        state, was = (photos / name).stat(), known.get(name)
        unchanged = was and (was.size, was.mtime_ns) == (state.st_size, state.st_mtime_ns)
        sha256 = was.sha256 if was and unchanged else hash_file(photos / name)
        marks[name] = PhotoMark(sha256, state.st_size, state.st_mtime_ns)
    return marks


def _copy_photos(photos: Path, pool: Path, marks: Mapping[str, PhotoMark]) -> None:
    """Bring into the pool what isn't there yet."""
    for name, mark in marks.items():
        pooled = pool_place(pool, mark.sha256)
        if pooled.exists() and pooled.stat().st_size == mark.size:
            continue
        if copy_whole(photos / name, pooled) != mark.sha256:
            raise BackupFailed(f"the photo {name} did not arrive as it was")
        sync_folder(pooled.parent.parent)


def pool_place(pool: Path, sha256: str) -> Path:
    """A photo's place in the pool; raises BookProblem if a link leads it out."""
    return place_within(pool, sha256[:2], sha256)


def _rotate(book: Path, places: list[Path], upkeep: Upkeep) -> None:
    """Let go of what the rotation doesn't keep, of this very book's."""
    here = [
        backup
        for place in places
        for backup in _in_place(place)
        if _is_own(place, backup.book_id, book, upkeep)
    ]
    kept = choose_kept([backup.mark for backup in here], upkeep.rotation)
    for backup in here:
        if backup.number in kept:
            keep_private(backup.database)  # earlier ones could be read by others on the machine
        else:
            (backup.folder / MANIFEST_NAME).rename(backup.folder / UNFINISHED_NAME)
            sync_folder(backup.folder)
            _clear(backup.folder)


def _is_own(place: Path, book_id: str, book: Path, upkeep: Upkeep) -> bool:
    """Say whether a list is this very book's; an earlier one is known by where it lies."""
    if book_id:
        return book_id == upkeep.book_id
    return place == book / EARLIER_NAME or owner_of(place) == upkeep.book_id


def _clear_unfinished(book: Path, places: list[Path], upkeep: Upkeep) -> None:
    """Clear away what was left by a program that was killed."""
    _clear(places[0] / MAKING_NAME)
    for place in places:
        for folder in _folders_with(place, UNFINISHED_NAME):
            if _is_own(place, str(_read_list(folder).get("book_id", "")), book, upkeep):
                _clear(folder)


def _read_list(folder: Path) -> dict[str, Any]:
    try:
        listed = json.loads((folder / UNFINISHED_NAME).read_text())
    except (OSError, ValueError):
        return {}
    return listed if isinstance(listed, dict) else {}


def _clear(folder: Path) -> None:
    """Remove what is left of a backup: what its list names and no finished one holds."""
    if (folder / MANIFEST_NAME).exists():
        return
    held = {mark.sha256 for backup in _in_place(folder.parent) for mark in backup.photos.values()}
    try:
        named = {mark.sha256 for mark in _read_photos(_read_list(folder)).values()} - held
    except (KeyError, TypeError, ValueError, AttributeError):
        named = set()
    photos = [pool_place(folder.parent / POOL_NAME, sha256) for sha256 in named]
    for file in [*photos, *database_files(folder / DATABASE_NAME), folder / UNFINISHED_NAME]:
        for path in (partial_of(file), file):
            path.unlink(missing_ok=True)
    with suppress(OSError):  # something else lies in it, or it isn't there
        folder.rmdir()


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
    """The newest backup that can be read back whole."""
    return next((backup for backup in list_backups(book, upkeep) if not check_backup(backup)), None)


def describe_backup(backup: Backup) -> str:
    """Name a backup in words."""
    when = backup.made_at
    return f"no. {backup.number} of {when.day} {when:%B %Y, %H:%M} ({backup.label})"


def size_of(backup: Backup) -> dict[str, Any]:
    """Say what a backup holds, for a page or a line."""
    return {
        "jobs": backup.rows.get("job", 0),
        "pieces": backup.rows.get("piece", 0),
        "photos": len(backup.photos),
        "mb": backup.size / 1e6,
    }
