"""Where backups lie: in a folder of our own inside the one chosen, marked by a file of our own.

What else lies in the chosen folder is its owner's. Backups made until November 2026 lie in the
chosen folder itself; they are still listed, restored, and let go of by what their lists name.
"""

import json
import tempfile
from pathlib import Path

from app.store.book.upkeep import Upkeep
from app.store.files import make_private_folder, partial_of, say_disk, write_json

PLACE_NAME = "laybook-backups"
MARKER_NAME = "laybook-backups.json"
EARLIER_NAME = "backups"
# What systems empty by themselves, beside the one that this machine names.
_TEMPORARY = ("/tmp", "/var/tmp", "/dev/shm")  # noqa: S108 - refused, not used


class Unusable(Exception):  # noqa: N818 - shown to the maker beside the field
    """The folder can't take backups; the message says why."""


def own_place(book: Path) -> Path:
    """The book's own place; what is made before something irreversible lies here."""
    return book / PLACE_NAME


def places_of(book: Path, chosen: Path | None) -> list[Path]:
    """List where backups lie in a chosen folder, or for None in the book's: now, and earlier."""
    return [chosen / PLACE_NAME, chosen] if chosen else [own_place(book), book / EARLIER_NAME]


def all_places(book: Path, upkeep: Upkeep) -> list[Path]:
    """List every place where this book's backups may lie."""
    chosen = places_of(book, upkeep.folder) if upkeep.folder else []
    return list(dict.fromkeys([*places_of(book, None), *chosen]))


def owner_of(place: Path) -> str | None:
    """Say whose backups a place is marked for; None if it isn't marked."""
    try:
        return str(json.loads((place / MARKER_NAME).read_text())["book_id"])
    except (OSError, ValueError, KeyError, TypeError):
        return None


def is_plugged_in(chosen: Path, upkeep: Upkeep) -> bool:
    """Say whether a chosen folder is the one that was prepared.

    A stick that isn't plugged in leaves an empty folder behind, and a backup written there would
    be on the wrong disk.
    """
    return upkeep.book_id in {owner_of(chosen / PLACE_NAME), owner_of(chosen)}


def prepare_folder(chosen: Path, book: Path, upkeep: Upkeep) -> None:
    """Make this book's place in a chosen folder; raises Unusable."""
    if not chosen.is_absolute():
        raise Unusable("Write the folder's full path, from the disk's root.")
    try:
        _refuse_where_it_is_lost(chosen.resolve(), book.resolve())
        chosen.mkdir(mode=0o700, exist_ok=True)
    except OSError as error:
        raise Unusable(f"That folder can't be used: {say_disk(error)}.") from error
    mark_place(chosen / PLACE_NAME, upkeep)
    if owner_of(chosen / PLACE_NAME) != upkeep.book_id:
        raise Unusable("Another book's backups are in that folder. Choose one of its own.")


def _refuse_where_it_is_lost(chosen: Path, book: Path) -> None:
    if chosen == chosen.parent:
        raise Unusable(f"{chosen} is a whole disk. Name a folder on it.")
    if chosen.is_relative_to(book):
        raise Unusable(
            "That folder lies in the book's own, and would be lost with it. Choose another, or "
            "leave the field empty."
        )
    if chosen.name == PLACE_NAME:
        raise Unusable(f"Name the folder that “{PLACE_NAME}” lies in; it is made there.")
    for temporary in (tempfile.gettempdir(), *_TEMPORARY):
        emptied = Path(temporary).resolve()
        # Whoever has a book there doesn't mean to keep it.
        if chosen.is_relative_to(emptied) and not book.is_relative_to(emptied):
            raise Unusable(f"The system empties {emptied} by itself. Choose a folder that stays.")


def mark_place(place: Path, upkeep: Upkeep) -> None:
    """Make a place for backups and mark it as ours; raises Unusable if it is somebody else's."""
    marker = place / MARKER_NAME
    try:
        if owner_of(place) is None:
            make_private_folder(place)
            if set(place.iterdir()) - {partial_of(marker)}:
                raise Unusable(
                    f"The folder {place} is not this program's: it holds other files. Rename it, "
                    "or choose another folder for the backups."
                )
            write_json(marker, {"book_id": upkeep.book_id})
    except OSError as error:
        raise Unusable(f"The folder {place} can't be used: {say_disk(error)}.") from error
