"""Books to test with: one with something in every corner, and a book's content as values."""

import hashlib
import sqlite3
from contextlib import closing
from pathlib import Path

from fastapi.testclient import TestClient

from app.web.app import create_app
from app.web.settings import Settings
from tests.conftest import Browser, Clock

HEADERS = {"Origin": "http://127.0.0.1", "Sec-Fetch-Site": "same-origin"}
PHOTO = b"\x89PNG an invented picture of a tip rail"


def fill_book(folder: Path) -> None:
    """Do two jobs through the pages: everything the program writes is written once at least."""
    app = create_app(Settings(book=folder, now=Clock()))
    with TestClient(app, base_url="http://127.0.0.1", headers=HEADERS) as client:
        browser = Browser(client)
        for name, marking in (("Ottilie Wiesenbach", "N4"), ("Jörg Łuczak", "5*")):
            _do_job(browser, name, marking)
        browser.open("/settings")
        browser.send("main form", name="The bench at the mill", address="Mill Lane 3\nUnterfeld")
    photos = folder / "photos" / "2026"
    photos.mkdir(parents=True)
    (photos / "first.png").write_bytes(PHOTO)
    (photos / "second.png").write_bytes(PHOTO[::-1])


def _do_job(browser: Browser, name: str, marking: str) -> None:
    browser.open("/drop-off")
    browser.send(
        "main form", do="take_in", customer="new", customer_name=name, customer_phone="0555 123456",
        customer_address="Ahornweg 2\nNirgendheim", piece="new", piece_maker="Kestrel Row",
        piece_marking=marking, instrument_kind="clarinet_bb", request=f"stuffy, says {name}",
        condition=["bite marks on the beak"], came_with=["cap"], declared_value="120",
    )  # fmt: skip
    job = browser.path
    for role, line in (("as_received", "34 22/22.5 12 6 / 1.02 / 0.588"),
                       ("as_returned", "36 24 14 7 / 1.10 / 0.588")):  # fmt: skip
        browser.open(f"{job}/readings?role={role}")
        browser.send("form[data-grid]", line=line)
        browser.open(job)
        browser.send("form[action$=passes]", kind="tilted", abrasive="wet paper", grit="600")
    browser.open(f"{job}/edit")
    browser.send("main form", agreed_work="open it a little", agreed_price="85.50")
    browser.open(f"{job}/papers/return_card")
    browser.send("main form")
    browser.open(job)
    first = browser.page.select("#readings tbody a")[0]["href"]
    browser.open(f"{first}/correct")
    browser.send("form[data-grid]", tip="1.03", why="misread the wedge")
    browser.open(job)
    browser.send("form[action$=notes]", note="Played it in the yard.")


def content_of(database: Path) -> dict[str, list[tuple]]:
    """Give every row of every table, read through SQLite."""
    with closing(sqlite3.connect(database)) as connection:
        names = [
            row[0]
            for row in connection.execute(
                "SELECT name FROM sqlite_master WHERE type='table' ORDER BY name"
            )
        ]
        return {
            name: sorted(connection.execute(f'SELECT * FROM "{name}"').fetchall(), key=repr)  # noqa: S608
            for name in names
        }


def hash_of(database: Path, but: tuple[str, ...] = ()) -> str:
    """Give one hash of everything in a book, but for some tables."""
    content = {name: rows for name, rows in content_of(database).items() if name not in but}
    return hashlib.sha256(repr(content).encode()).hexdigest()


def rows_of(database: Path, query: str, *values: object) -> list[tuple]:
    """Ask a book's database, whoever has it open."""
    with closing(sqlite3.connect(database)) as connection:
        return connection.execute(query, values).fetchall()
