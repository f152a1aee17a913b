"""Pages of the scale book, beside the same queries and templates alone, and beside a small book.

For each page the application is asked once while its SQL and what its templates were given are
noted. A reference route in the same application then runs that SQL through `sqlite3` itself and
prints those templates with those values: it knows the answer and only has to fetch and print.
"""

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from math import inf
from typing import Any

import jinja2
from fastapi import FastAPI
from fastapi.responses import HTMLResponse
from sqlalchemy import event

from app.store.book.sessions import DATABASE_NAME
from tests.benchmarks.asking import Asker
from tests.benchmarks.books import LARGE, SMALL, application, forget
from tests.benchmarks.measuring import Row, compare, time_in_turns

REFERENCE_LIMIT, SMALL_LIMIT = 2.0, 1.2
OPENED_FIRST = "piece with 24 reading sets"  # also timed with nothing of it in memory
MEASURED_PIECE = 1  # the one that comes back again and again; see scale_book


@dataclass(slots=True)
class Noted:
    """What one answer took: its statements with parameters, and its templates with values."""

    statements: list[tuple[str, Any]] = field(default_factory=list)
    printed: list[tuple[jinja2.Template, dict[str, Any]]] = field(default_factory=list)


@contextmanager
def noting(app: FastAPI) -> Iterator[Noted]:
    """Note what the application runs and prints inside the block."""
    noted = Noted()
    engine, render = app.state.sessions.engine, jinja2.Template.render

    def note_statement(_connection, _cursor, statement, parameters, _context, _many) -> None:
        if statement.startswith("SELECT"):
            noted.statements.append((statement, parameters))

    def note_template(template: jinja2.Template, *args: Any, **values: Any) -> str:
        noted.printed.append((template, dict(*args, **values)))
        return render(template, *args, **values)

    event.listen(engine, "before_cursor_execute", note_statement)
    jinja2.Template.render = note_template  # type: ignore[method-assign]
    try:
        yield noted
    finally:
        jinja2.Template.render = render  # type: ignore[method-assign]
        event.remove(engine, "before_cursor_execute", note_statement)


def add_reference(app: FastAPI, address: str, noted: Noted) -> None:
    """Add a route that runs the noted SQL in raw `sqlite3` and prints the noted templates."""
    path = app.state.settings.book / DATABASE_NAME
    connection = sqlite3.connect(path, check_same_thread=False, isolation_level=None)

    def reference() -> HTMLResponse:
        connection.execute("BEGIN")
        for statement, parameters in noted.statements:
            connection.execute(statement, parameters).fetchall()
        connection.execute("ROLLBACK")
        texts = [template.render(**values) for template, values in noted.printed]
        return HTMLResponse(texts[-1])

    app.get(address)(reference)


def list_pages(app: FastAPI, asker: Asker) -> dict[str, str]:
    """Name the measured pages of a book with their addresses; issues a card to look at."""
    with sqlite3.connect(app.state.settings.book / DATABASE_NAME) as connection:
        job = connection.execute(
            "SELECT max(number) FROM job WHERE piece_id = ?", (MEASURED_PIECE,)
        ).fetchone()[0]
        issued = connection.execute("SELECT max(number) FROM slip").fetchone()[0]
    if issued is None:
        answer = asker.post(app, f"/jobs/{job}/papers/return_card", {"token": "benchmark"})
        issued = int(answer.headers["location"].partition("?")[0].rpartition("/")[2])
    return {
        "first page": "/",
        "look-up": "/look-up?q=amsel",
        "piece with 24 reading sets": f"/pieces/{MEASURED_PIECE}",
        "job": f"/jobs/{job}",
        "return card, preview": f"/jobs/{job}/papers/return_card",
        "return card, issued": f"/papers/{issued}",
        "customers": "/customers",
        "customer": "/customers/1",
        "one reading set": f"/readings/{MEASURED_PIECE}",
        "drop-off": "/drop-off",
    }


def run() -> list[Row]:
    """Time every page of the large book, its reference and the same page of the small book."""
    asker = Asker()
    rows: list[Row] = []
    with application(LARGE) as large, application(SMALL) as small:
        of_small = list_pages(small, asker)
        for at, (name, address) in enumerate(list_pages(large, asker).items()):
            asker.get(large, address)
            with noting(large) as noted:
                asker.get(large, address)
            add_reference(large, f"/reference/{at}", noted)
            timings = time_in_turns(
                {
                    "ours": asking(asker, large, address),
                    "reference": asking(asker, large, f"/reference/{at}"),
                    "small": asking(asker, small, of_small[name]),
                }
            )
            queries = f"{len(noted.statements)} queries in sqlite3, same template"
            if name == OPENED_FIRST:
                first = time_in_turns(
                    {
                        "ours": lambda at=address: forget() or asker.get(large, at),
                        "reference": asking(asker, large, f"/reference/{at}"),
                    }
                )
                what = f"{name}, for the first time"
                rows.append(compare(what, queries, first["ours"], first["reference"], inf))
            ours = timings["ours"]
            rows.append(compare(name, queries, ours, timings["reference"], REFERENCE_LIMIT))
            rows.append(compare(name, "a book of 1,000 jobs", ours, timings["small"], SMALL_LIMIT))
    asker.close()
    return rows


def asking(asker: Asker, app: FastAPI, address: str) -> Callable[[], object]:
    """Give a function that asks for a page."""
    return lambda: asker.get(app, address)
