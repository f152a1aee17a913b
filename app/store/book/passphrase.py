"""The passphrase that opens a book on the network: kept as an Argon2 hash, beside the database.

It belongs to this machine, so it is in no backup and no export. The key that signs the browsers'
cookies lies with it and is made anew with each passphrase: a change closes every open browser.
"""

import json
import secrets
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta
from pathlib import Path

from argon2 import PasswordHasher
from argon2.exceptions import Argon2Error, InvalidHashError

from app.store.files import write_json
from app.store.problems import BookProblem

PASSPHRASE_NAME = "passphrase.json"  # noqa: S105 - a file's name
LEAST_LENGTH = 12
MOST_LENGTH = 500
LOGIN_DAYS = 30


@dataclass(frozen=True, slots=True)
class Passphrase:
    """A passphrase as kept: its hash, the key that signs cookies, logins that were ended."""

    hashed: str
    key: str
    void: Mapping[str, str] = field(default_factory=dict)  # a login's name: the day it ended


def read_passphrase(book: Path) -> Passphrase | None:
    """The book's passphrase, or None if it has none; raises BookProblem if unreadable."""
    path = book / PASSPHRASE_NAME
    if not path.exists():
        return None
    try:
        kept = json.loads(path.read_text())
        return Passphrase(str(kept["hashed"]), str(kept["key"]), dict(kept.get("void", {})))
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise BookProblem(
            f"The file {PASSPHRASE_NAME} in the book's folder can't be read. "
            "Set the passphrase again: laybook passphrase"
        ) from error


def find_weakness(words: str) -> str:
    """Say why words are no good passphrase, or nothing."""
    if len(words) < LEAST_LENGTH:
        return (
            f"Take at least {LEAST_LENGTH} characters: "
            "a few words that only you would put together."
        )
    if len(words) > MOST_LENGTH:
        return f"At most {MOST_LENGTH} characters can be kept."
    if len(set(words)) < 5:
        return "Take words with more than a few different letters."
    return ""


def keep_passphrase(book: Path, words: str) -> None:
    """Keep a new passphrase; browsers that were open must log in again."""
    kept = {"hashed": PasswordHasher().hash(words), "key": secrets.token_hex(32)}
    write_json(book / PASSPHRASE_NAME, kept)


def end_login(book: Path, kept: Passphrase, login: str, today: date) -> None:
    """Make a browser's login void; ends older than any login lasts are let go. Raises OSError."""
    since = (today - timedelta(days=LOGIN_DAYS)).isoformat()
    void = {name: day for name, day in kept.void.items() if day >= since}
    void[login] = today.isoformat()
    write_json(book / PASSPHRASE_NAME, {"hashed": kept.hashed, "key": kept.key, "void": void})


def is_passphrase(kept: Passphrase, words: str) -> bool:
    """Say whether these words are the passphrase; slow on purpose."""
    try:
        return PasswordHasher().verify(kept.hashed, words[:MOST_LENGTH])
    except (Argon2Error, InvalidHashError):
        return False
