"""Every address of the program, with the ids of a filled book put in."""

import sqlite3
from contextlib import closing
from pathlib import Path

from fastapi import FastAPI
from fastapi.routing import APIRoute

PARAMETERS = {
    "number": "1", "piece_id": "1", "customer_id": "1", "set_id": "1", "pass_id": "1",
    "slip_number": "1", "kind": "return_card", "name": "laybook.css", "gauge_id": "1",
    "blade_set_id": "1", "study_id": "1", "check_id": "1",
}  # fmt: skip


def routes_of(app: FastAPI) -> list[APIRoute]:
    """List the program's routes, those of included routers too."""
    found: list[APIRoute] = []
    waiting = list(app.routes)
    while waiting:
        one = waiting.pop(0)
        if isinstance(one, APIRoute):
            found.append(one)
        waiting.extend(getattr(getattr(one, "original_router", None), "routes", []))
    return found


def addresses_of(app: FastAPI, book: Path, method: str = "GET") -> list[str]:
    """List every address of a method; an unknown parameter is a failure, not a gap."""
    with closing(sqlite3.connect(book / "book.sqlite3")) as connection:
        assert connection.execute("SELECT count(*) FROM job").fetchone()[0] >= 1
    paths = []
    for route in routes_of(app):
        if method in (route.methods or set()):
            needed = {one.alias for one in route.dependant.path_params}
            assert needed <= set(PARAMETERS), f"{route.path}: say what to put in {needed}"
            paths.append(route.path.format(**PARAMETERS))
    return sorted(set(paths))
