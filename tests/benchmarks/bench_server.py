"""The look-up while typing on PostgreSQL, beside the same 100,000 jobs in SQLite.

It needs a server in LAYBOOK_TEST_DATABASE; without one there is nothing to time.
"""

import shutil
import tempfile
from functools import partial
from math import inf
from pathlib import Path

from app.packed import folder_of
from app.store.book.backup import make_backup
from app.store.book.transfer import move_book
from app.store.book.upkeep import read_upkeep
from app.web.settings import wall_clock
from tests.benchmarks.bare import connected
from tests.benchmarks.bench_pages import list_pages
from tests.benchmarks.books import LARGE, book_of
from tests.benchmarks.measuring import Row, compare, time_in_turns
from tests.databases import SERVER, drop_databases, make_database
from tests.faults.servers import Server


def run() -> list[Row]:
    """Move a copy of the large book to the server and ask both for the same."""
    if not SERVER:
        return []
    with tempfile.TemporaryDirectory(prefix="laybook-benchmarks-") as place:
        book = Path(shutil.copytree(book_of(LARGE), Path(place) / "book"))
        with Server(book) as files:
            pages = {
                name: address
                for name, address in list_pages(files).items()
                if "look-up" in name or name in {"bench list", "job"}
            }
        # The day's backup is made before: it would go on beside what is timed.
        make_backup(book, read_upkeep(book, wall_clock()), "by_hand", wall_clock())
        moved = Path(shutil.copytree(book, Path(place) / "moved"))
        move_book(moved, make_database(), folder_of("migrations"), wall_clock())
        try:
            with Server(book) as files, Server(moved) as server:
                return _time(files, server, pages)
        finally:
            drop_databases()


def _time(files: Server, server: Server, pages: dict[str, str]) -> list[Row]:
    rows = []
    with connected(files) as here, connected(server) as there:
        for name, address in pages.items():
            took = time_in_turns(
                {"here": partial(here.fetch, address), "there": partial(there.fetch, address)}
            )
            beside = "the same book in SQLite"
            rows.append(compare(f"{name}, PostgreSQL", beside, took["there"], took["here"], inf))
    return rows
