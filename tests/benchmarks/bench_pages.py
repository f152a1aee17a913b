"""Pages of the scale book as they arrive: over a kept connection to a real server process.

Beside each stands a bare application sending the same bytes through the same server, and the same
page of a book of 1,000 jobs; beside some the same page over a connection opened for it.
"""

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from functools import partial
from itertools import count
from math import inf
from pathlib import Path

from app.store.postgresql.addresses import DATABASE_NAME
from tests.benchmarks.bare import Answers, Connection, bare_server, connected
from tests.benchmarks.books import LARGE, SMALL, book_of
from tests.benchmarks.measuring import Row, compare, time_in_turns
from tests.faults.servers import Server

WIRE_LIMIT, SMALL_LIMIT, KEPT_LIMIT = 2.5, 1.2, 1.05
KEPT = ("drop-off", "return card, issued", "look-up, “amsel kes” typed")
MEASURED_PIECE = 1  # the one that comes back again and again; see scale_book


def list_pages(server: Server) -> dict[str, str]:
    """Name the measured pages of a server's book with their addresses; issues a card to look at."""
    job, issued, phone = _look_into(server.book)
    if issued is None:
        answer = server.post(f"/jobs/{job}/papers/return_card", {"token": "benchmark"})
        issued = int(answer.location.partition("?")[0].rpartition("/")[2])
    return {
        "bench list": "/",
        "look-up": "/look-up?q=amsel",
        "look-up, “a” typed": "/look-up/results?q=a",
        "look-up, “amsel kes” typed": "/look-up/results?q=amsel+kes",
        "look-up, a telephone typed": f"/look-up/results?q={phone}",
        "piece with 24 reading sets": f"/pieces/{MEASURED_PIECE}",
        "job": f"/jobs/{job}",
        "return card, preview": f"/jobs/{job}/papers/return_card",
        "return card, issued": f"/papers/{issued}",
        "customers": "/customers",
        "customer": "/customers/1",
        "one reading set": f"/readings/{MEASURED_PIECE}",
        "drop-off": "/drop-off",
    }


def _look_into(book: Path) -> tuple[int, int | None, str]:
    """Find the measured piece's last job, an issued card if any, a telephone's first digits."""
    connection = sqlite3.connect(book / DATABASE_NAME)
    (job,) = connection.execute(
        "SELECT max(number) FROM job WHERE piece_id = ?", (MEASURED_PIECE,)
    ).fetchone()
    (issued,) = connection.execute("SELECT max(number) FROM slip").fetchone()
    (phone,) = connection.execute("SELECT phone FROM customer WHERE id = 1").fetchone()
    connection.close()
    return job, issued, str(phone).partition(" ")[0]


def run() -> list[Row]:
    """Time every page of the large book, its bytes alone, and the same page of the small book."""
    rows: list[Row] = []
    with Server(book_of(LARGE)) as large, Server(book_of(SMALL)) as small:
        pages, of_small = list_pages(large), list_pages(small)
        with connected(large) as ours, connected(small) as other:
            answers: Answers = {address: ours.record(address) for address in pages.values()}
            answers["/pieces/new"] = ours.record("/pieces/2")
            with bare_server(answers) as server, connected(server) as bare:
                for name, address in pages.items():
                    runs = {
                        "ours": partial(ours.fetch, address),
                        "bare": partial(bare.fetch, address),
                        "small": partial(other.fetch, of_small[name]),
                    }
                    took = time_in_turns(runs)
                    beside = "the same bytes, bare"
                    rows.append(compare(name, beside, took["ours"], took["bare"], WIRE_LIMIT))
                    beside = "a book of 1,000 jobs"
                    rows.append(compare(name, beside, took["ours"], took["small"], SMALL_LIMIT))
                rows.append(_opened_first(ours, bare))
                rows += [_kept(name, pages[name], ours) for name in KEPT]
    return rows


def _kept(name: str, address: str, kept: Connection) -> Row:
    """Time a page over a kept connection and over one that is opened for it."""

    def open_and_fetch() -> None:
        fresh = Connection(kept.port)
        with closing(fresh.kept):
            fresh.fetch(address)

    took = time_in_turns({"kept": partial(kept.fetch, address), "fresh": open_and_fetch})
    return compare(
        f"{name}, a kept connection", "a fresh one", took["kept"], took["fresh"], KEPT_LIMIT
    )


def _opened_first(ours: Connection, bare: Connection) -> Row:
    """Time pieces that nobody has opened since the start: nothing of them is in memory."""
    others: Iterator[int] = count(2)
    took = time_in_turns(
        {
            "ours": lambda: ours.fetch(f"/pieces/{next(others)}"),
            "bare": lambda: bare.fetch("/pieces/new"),
        }
    )
    return compare(
        "a piece, for the first time", "another’s bytes, bare", took["ours"], took["bare"], inf
    )
