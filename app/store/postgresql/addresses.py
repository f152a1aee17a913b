"""Where a book's records lie: in its folder, or on a PostgreSQL server as is noted there.

The folder answers by itself (`find_address`), so that a bench which forgets to name the database
never begins a second book beside the first. The note holds no password: that stays in the
process's environment, where the driver looks for it (PGPASSWORD, or ~/.pgpass).
"""

import json
from pathlib import Path

from sqlalchemy import URL, make_url
from sqlalchemy.exc import ArgumentError

from app.store.files import say_disk, write_json
from app.store.problems import BookProblem

DATABASE_NAME = "book.sqlite3"
NOTE_NAME = "database.json"
OWN_FILE = "sqlite"
SERVER = "postgresql+psycopg"
EXAMPLE = f"{SERVER}://USER@HOST/DATABASE"
# What may stand behind the question mark; a password may not, nor what the program sets itself.
_ASKED = frozenset(
    {"host", "port", "sslmode", "sslrootcert", "sslcert", "sslkey", "target_session_attrs"}
)


def parse_address(text: str) -> URL | None:
    """Read what was given as `--database`; None is the book's own file.

    Raises BookProblem for anything else than SQLite and PostgreSQL. What was given is never
    repeated: a password may stand in it.
    """
    if text.strip() in {OWN_FILE, f"{OWN_FILE}://"}:
        return None
    try:
        address = make_url(text.strip())
    except (ArgumentError, ValueError):
        raise BookProblem(_refusal("That is no address of a database")) from None
    if address.drivername == OWN_FILE:
        raise BookProblem(
            f"A book in SQLite lies in its folder as {DATABASE_NAME}: name the folder with --book."
        )
    if address.drivername != SERVER:
        raise BookProblem(_refusal("A book can't be kept in that database"))
    if not address.database:
        raise BookProblem(_refusal("The address doesn't name the database"))
    if strange := sorted(set(address.query) - _ASKED):
        raise BookProblem(
            f"The address says “{'”, “'.join(strange)}”, which is not used. Behind the question "
            f"mark may stand: {', '.join(sorted(_ASKED))}."
        )
    return address


def _refusal(what: str) -> str:
    return f"{what}. Records lie in the book's own folder (SQLite) or in PostgreSQL: {EXAMPLE}"


def without_password(address: URL) -> URL:
    """The address as it may be written down and said."""
    return URL.create(
        address.drivername,
        username=address.username,
        host=address.host,
        port=address.port,
        database=address.database,
        query=address.query,
    )


def say_address(address: URL) -> str:
    """Name a database in words, without who may open it."""
    at = address.host or str(address.query.get("host", "")) or "this machine"
    port = f":{address.port}" if address.port else ""
    return f"the PostgreSQL database “{address.database}” at {at}{port}"


def find_address(book: Path) -> URL | None:
    """Say on which server a book's records lie; None if they lie in its folder."""
    try:
        kept = json.loads((book / NOTE_NAME).read_text())
        return parse_address(str(kept["database"]))
    except FileNotFoundError:
        return None
    except OSError as error:
        raise BookProblem(
            f"The book's {NOTE_NAME} can't be read: {say_disk(error)}. Nothing has been changed."
        ) from error
    except (ValueError, KeyError, TypeError):
        raise BookProblem(
            f"The file {NOTE_NAME} in {book} can't be understood. It says where the book's records "
            f'lie, such as {{"database": "{EXAMPLE}"}}. Nothing has been changed.'
        ) from None


def keep_address(book: Path, address: URL | None) -> None:
    """Note where the book's records lie from now on."""
    if address is None:
        (book / NOTE_NAME).unlink(missing_ok=True)
        return
    shown = without_password(address).render_as_string()
    write_json(book / NOTE_NAME, {"database": shown})


def is_same(address: URL, other: URL) -> bool:
    """Say whether two addresses name the same database; who opens it doesn't matter."""
    places = [(at.host, at.port or 5432, at.database, at.query) for at in (address, other)]
    return places[0] == places[1]
