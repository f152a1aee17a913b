"""Keeps a small book of the present schema for all time: `python -m tests.store.keep_book`.

Run it before a release whose schema differs from the last. It fills a book through the pages and
writes it, packed, with what every table holds, to `tests/store/books/`.
"""

import gzip
import hashlib
import json
import sqlite3
import tempfile
from contextlib import closing
from pathlib import Path

BOOKS = Path(__file__).resolve().parent / "books"


def describe(database: Path, columns: dict[str, list[str]] | None = None) -> dict[str, dict]:
    """Give each table's columns, its count and a hash of its rows; or those of named columns."""
    with closing(sqlite3.connect(database)) as book:
        found = book.execute(
            "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE '%_search%' "
            "AND name NOT IN ('alembic_version') ORDER BY name"
        ).fetchall()
        described = {}
        for name in [row[0] for row in found] if columns is None else columns:
            here = [row[1] for row in book.execute(f'PRAGMA table_info("{name}")')]
            wanted = here if columns is None else columns[name]
            listed = ", ".join(f'"{one}"' for one in wanted)
            rows = book.execute(f'SELECT {listed} FROM "{name}"').fetchall()  # noqa: S608
            told = hashlib.sha256(repr(sorted(rows, key=repr)).encode()).hexdigest()
            described[name] = {"columns": wanted, "count": len(rows), "sha256": told}
    return described


def keep(database: Path) -> Path:
    """Pack a book's database and write down what it holds; gives the packed file."""
    with closing(sqlite3.connect(database)) as book:
        book.execute("PRAGMA journal_mode=DELETE")
        revision = book.execute("SELECT version_num FROM alembic_version").fetchone()[0]
    BOOKS.mkdir(exist_ok=True)
    packed = BOOKS / f"{revision}.sqlite3.gz"
    packed.write_bytes(gzip.compress(database.read_bytes(), mtime=0))
    told = json.dumps(describe(database), indent=1)
    (BOOKS / f"{revision}.json").write_text(told + "\n")
    return packed


if __name__ == "__main__":
    from tests.books import fill_kept_book

    with tempfile.TemporaryDirectory() as folder:
        fill_kept_book(Path(folder) / "book")
        print(keep(Path(folder) / "book" / "book.sqlite3"))
