"""Every address of the program, with the ids of a filled book put in."""

from pathlib import Path

from fastapi import FastAPI
from fastapi.routing import APIRoute

from tests.books import rows_of

# Every id is 1; these are no ids.
PARAMETERS = {"kind": "return_card", "name": "laybook.css"}


def routes_of(app: FastAPI) -> list[APIRoute]:
    """List the program's routes."""
    return [route for route in app.routes if isinstance(route, APIRoute)]


def addresses_of(app: FastAPI, book: Path, method: str = "GET") -> list[str]:
    """List every address of a method."""
    ((jobs,),) = rows_of(book / "book.sqlite3", "SELECT count(*) FROM job")
    assert jobs >= 1
    paths = []
    for route in routes_of(app):
        if method in (route.methods or set()):
            needed = route.param_convertors
            paths.append(route.path.format(**{name: PARAMETERS.get(name, "1") for name in needed}))
    return sorted(set(paths))
