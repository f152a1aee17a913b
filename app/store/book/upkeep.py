"""What a machine knows about a book's backups: where they go, which are kept, what failed last.

These lie beside the database, not in it: they must be readable when the database is not, and a
book restored on another machine must not bring the old machine's folders along.
"""

import json
import uuid
from dataclasses import asdict, dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from app.core.shop.backups import Rotation
from app.store.files import write_json

UPKEEP_NAME = "upkeep.json"
FAILED_NAME = "backup-failed.json"


@dataclass(frozen=True, slots=True)
class Upkeep:
    """The backup settings of one book on this machine; no folder means the book's own."""

    book_id: str
    started_at: datetime
    folder: Path | None = None
    rotation: Rotation = field(default_factory=Rotation)
    version: int = 1


def read_upkeep(book: Path, now: datetime) -> Upkeep:
    """Read the settings; a missing or unreadable file gives the usual ones."""
    try:
        kept: dict[str, Any] = json.loads((book / UPKEEP_NAME).read_text())
        return Upkeep(
            book_id=str(kept["book_id"]),
            started_at=datetime.fromisoformat(kept["started_at"]),
            folder=Path(kept["folder"]) if kept.get("folder") else None,
            rotation=Rotation(**kept["rotation"]),
            version=int(kept["version"]),
        )
    except (OSError, ValueError, KeyError, TypeError):
        return Upkeep(book_id=uuid.uuid4().hex, started_at=now)


def is_book(book: Path) -> bool:
    """Say whether this folder has held a book before, even if its database is gone."""
    return (book / UPKEEP_NAME).exists()


def keep_upkeep(book: Path, upkeep: Upkeep) -> None:
    """Keep the settings."""
    kept = asdict(upkeep)
    kept["started_at"] = upkeep.started_at.isoformat()
    kept["folder"] = str(upkeep.folder) if upkeep.folder else None
    write_json(book / UPKEEP_NAME, kept)


def note_failure(book: Path, words: str, at: datetime) -> None:
    """Write down that a backup failed; a full disk may refuse this too, and the page still says."""
    try:
        write_json(book / FAILED_NAME, {"words": words, "at": at.isoformat()})
    except OSError:
        return


def last_failure(book: Path) -> str:
    """Say what the last backup failed of; nothing if it went well."""
    try:
        return str(json.loads((book / FAILED_NAME).read_text())["words"])
    except FileNotFoundError:
        return ""
    except (OSError, ValueError, KeyError, TypeError):
        return "what went wrong could not be written down"


def forget_failure(book: Path) -> None:
    """Note that a backup went well."""
    (book / FAILED_NAME).unlink(missing_ok=True)
