"""Files that are whole or not there: written beside, forced to the disk, then renamed."""

import errno
import hashlib
import json
import os
from collections.abc import Iterator
from contextlib import contextmanager
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


@contextmanager
def written_whole(path: Path) -> Iterator[BinaryIO]:
    """Give a file to write that takes its name only once all of it is on the disk."""
    partial = path.with_name(f".{path.name}.partial")
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
    """Give a file's SHA-256."""
    found = hashlib.sha256()
    with path.open("rb") as file:
        while chunk := file.read(_CHUNK):
            found.update(chunk)
    return found.hexdigest()


def copy_whole(source: Path, target: Path) -> str:
    """Copy a file whole and give the SHA-256 of what arrived, read back from the copy."""
    target.parent.mkdir(parents=True, exist_ok=True)
    with source.open("rb") as from_file, written_whole(target) as to_file:
        while chunk := from_file.read(_CHUNK):
            to_file.write(chunk)
    return hash_file(target)
