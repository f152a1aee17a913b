"""Files that are whole or not there: written beside, forced to the disk, then renamed."""

import errno
import hashlib
import json
import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, BinaryIO

PHOTOS_NAME = "photos"
_CHUNK = 1 << 20

# What went wrong with a disk, in words; anything else is named by the system's own.
_WORDS = {
    errno.ENOSPC: "the disk is full",
    errno.EDQUOT: "the disk is full",
    errno.EROFS: "the disk can only be read",
    errno.EACCES: "this program may not write there",
    errno.EPERM: "this program may not write there",
    errno.ENOENT: "the folder is not there",
    errno.EIO: "the disk could not be written or read",
    errno.EFBIG: "the disk takes no file that large",
}


def say_disk(error: OSError) -> str:
    """Say in words what a disk refused."""
    return _WORDS.get(error.errno or 0, (error.strerror or "the disk refused").lower())


def sync_folder(folder: Path) -> None:
    """Force a folder's list of names to the disk, where the system can."""
    if os.name == "nt":
        return
    opened = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(opened)
    finally:
        os.close(opened)


def sync_file(path: Path) -> None:
    """Force a file to the disk."""
    with path.open("rb+") as file:
        os.fsync(file.fileno())


def _private(path: str, flags: int) -> int:
    return os.open(path, flags, 0o600)


def keep_private(path: Path) -> None:
    """Let nobody but its owner read or write a file, made empty if it isn't there.

    Of a database too: SQLite gives its log the same rights.
    """
    os.close(os.open(path, os.O_RDONLY | os.O_CREAT, 0o600))
    mode = path.stat().st_mode
    if mode & 0o077:
        with suppress(OSError):  # another's file, or a disk that knows no rights
            path.chmod(mode & 0o700)


def make_private_folder(folder: Path) -> None:
    """Make a folder, and those it lies in, for nobody but their owner."""
    for missing in reversed(
        [parent for parent in (folder, *folder.parents) if not parent.exists()]
    ):
        missing.mkdir(mode=0o700, exist_ok=True)


def partial_of(path: Path) -> Path:
    """The name under which a file is written before it takes its own."""
    return path.with_name(f".{path.name}.partial")


def database_files(path: Path) -> list[Path]:
    """List a SQLite database's file and those that SQLite puts beside it."""
    return [path.with_name(f"{path.name}{end}") for end in ("", "-wal", "-shm", "-journal")]


def remove_database(path: Path) -> None:
    """Remove a database that this program made for a while, and what SQLite put beside it."""
    for file in database_files(path):
        file.unlink(missing_ok=True)


@contextmanager
def written_whole(path: Path) -> Iterator[BinaryIO]:
    """A file to write that takes its name only once all of it is on the disk."""
    partial = partial_of(path)
    try:
        # Nobody else on the machine may read what is in a book.
        with open(partial, "wb", opener=_private) as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        partial.replace(path)
        sync_folder(path.parent)
    except BaseException:
        partial.unlink(missing_ok=True)
        raise


def write_json(path: Path, value: Any) -> None:
    """Write a small JSON file whole."""
    with written_whole(path) as file:
        file.write(json.dumps(value, indent=1, ensure_ascii=False).encode() + b"\n")


def hash_file(path: Path) -> str:
    """A file's SHA-256."""
    sha256 = hashlib.sha256()
    with path.open("rb") as file:
        while chunk := file.read(_CHUNK):
            sha256.update(chunk)
    return sha256.hexdigest()


def copy_whole(source: Path, target: Path) -> str:
    """Copy a file whole and give the SHA-256 of what arrived, read back from the copy."""
    make_private_folder(target.parent)
    with source.open("rb") as from_file, written_whole(target) as to_file:
        while chunk := from_file.read(_CHUNK):
            to_file.write(chunk)
    return hash_file(target)
