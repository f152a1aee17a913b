"""The one rule for names that come from elsewhere: a manifest, a zip, a row.

A name is matched whole against what this program gives, and its place must lie within its folder
once every link is followed, before anything is read from it or written to it.
"""

import re
from pathlib import Path

from app.store.problems import BookProblem

_HASH = re.compile(r"[0-9a-f]{64}")
# Photographs are named by a day and 16 such digits, or by 64 (their column on a server holds 60).
_PHOTO = re.compile(r"[0-9a-f]{64}|[0-9]{8}-[0-9a-f]{16}")
_PHOTO_FILE = re.compile(rf"(?:{_PHOTO.pattern})(?:-small)?\.jpg")
_PLAIN_PART = re.compile(r"[^\x00-\x1f\x7f\\/:*?\"<>|]{1,200}")


def is_hash(name: str) -> bool:
    """Say whether a name is a SHA-256 as this program writes it."""
    return _HASH.fullmatch(name) is not None


def is_photo_name(name: str) -> bool:
    """Say whether a name is one that this program gives a photograph."""
    return _PHOTO.fullmatch(name) is not None


def is_photo_file(name: str) -> bool:
    """Say whether a name is that of a photograph's file, of either size."""
    return _PHOTO_FILE.fullmatch(name) is not None


def is_plain_name(name: str) -> bool:
    """Say whether a name stays below the folder it is put in, on any machine."""
    parts = name.split("/")
    return all(_PLAIN_PART.fullmatch(part) and part.strip(". ") for part in parts)


def place_within(folder: Path, *parts: str) -> Path:
    """A place in a folder; raises BookProblem if it leads out, be it by a link."""
    place = folder.joinpath(*parts)
    if not place.resolve().is_relative_to(folder.resolve()):
        raise BookProblem(f"“{'/'.join(parts)}” leads out of {folder}. It was left alone.")
    return place
