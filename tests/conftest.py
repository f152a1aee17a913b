"""Shared ground: a book made by real migrations, a fixed clock, a client acting as a browser."""

import fcntl
import os
import re
import shutil
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from bs4 import BeautifulSoup
from fastapi.testclient import TestClient
from sqlalchemy import URL

from app.store.book.sessions import Sessions
from app.store.records.shop import begin_book
from app.web.app import create_app, open_book
from app.web.demo.filling import fill_book
from app.web.settings import Settings
from tests.databases import (
    NEEDED,
    NO_SERVER,
    SERVER,
    copy_book,
    drop_databases,
    lay_on_server,
    make_database,
)

# Noon at the bench, wherever that is: no hour of Greenwich is the same day from UTC−11 to UTC+14.
NOON = datetime(2026, 11, 25, 12).astimezone().astimezone(UTC)


class Clock:
    """A clock that stands still until a test moves it."""

    def __init__(self) -> None:
        self.at = NOON

    def __call__(self) -> datetime:
        return self.at

    def pass_days(self, days: int) -> None:
        """Move on by whole days."""
        self.at += timedelta(days=days)


class Browser:
    """Acts as a browser without scripts: opens pages, fills forms as they stand, sends them."""

    def __init__(self, client: TestClient) -> None:
        self.client = client
        self.page = BeautifulSoup("", "html.parser")
        self.status = 0
        self.path = "/"

    def open(self, path: str, status: int = 200) -> BeautifulSoup:
        """Open a page and check its status."""
        return self._keep(self.client.get(path), status)

    def send(
        self, form: str, status: int | None = 200, do: str | None = None, **typed: str | list[str]
    ) -> BeautifulSoup:
        """Fill a form of the open page (a CSS selector) over what it holds, and send it."""
        found = self.page.select_one(form)
        assert found is not None, f"no form {form} on {self.path}"
        data: dict[str, list[str]] = {}
        for name, value in form_values(found):
            data.setdefault(name, []).append(value)
        data |= {
            name: value if isinstance(value, list) else [value] for name, value in typed.items()
        }
        if do is not None:
            data["do"] = [do]
        action = found.get("action") or self.path
        return self._keep(self.client.post(str(action), data=data), status)

    def _keep(self, response, status: int | None) -> BeautifulSoup:
        self.status, self.path = response.status_code, response.url.path
        self.page = BeautifulSoup(response.text, "html.parser")
        seen = f"{response.status_code} at {self.path}: {self.text}"
        assert status in {None, response.status_code}, seen
        return self.page

    @property
    def text(self) -> str:
        """The page's words, in one line."""
        main = self.page.select_one("main") or self.page
        return re.sub(r"\s+", " ", main.get_text(" ")).strip()


def form_values(form) -> list[tuple[str, str]]:
    """List what a browser would send from a form as it stands, buttons left out."""
    values = []
    for field in form.select("input[name], select[name], textarea[name]"):
        name, kind = field["name"], field.get("type", "")
        if field.name == "select":
            chosen = field.select_one("option[selected]") or field.select_one("option")
            values.append((name, chosen.get("value", chosen.text) if chosen else ""))
        elif field.name == "textarea":
            values.append((name, field.text.removeprefix("\n")))
        elif kind in {"checkbox", "radio"}:
            if field.has_attr("checked"):
                values.append((name, field.get("value", "on")))
        elif kind not in {"submit", "button"}:
            values.append((name, field.get("value", "")))
    return values


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Give what is long its time; leave out, on a server, what is about SQLite's file."""
    for item in items:
        if item.get_closest_marker("long"):
            item.add_marker(pytest.mark.timeout(1800))
    if SERVER:
        reason = pytest.mark.skip(reason="is about SQLite's own file; this run is on PostgreSQL")
        for item in items:
            if item.get_closest_marker("sqlite_file"):
                item.add_marker(reason)


@pytest.fixture(scope="session", autouse=True)
def databases() -> Iterator[None]:
    """Drop the databases that this run made, if it is on a server."""
    yield
    drop_databases()


@pytest.fixture(autouse=True)
def databases_of_test() -> Iterator[None]:
    """Drop the databases that a test made, when all else of it is closed."""
    yield
    drop_databases(of_test=True)


@pytest.fixture
def server() -> URL:
    """Give the address of a new empty database on the server that the tests were given."""
    if not SERVER:
        (pytest.fail if NEEDED else pytest.skip)(NO_SERVER)
    return make_database(of_test=True)


def make_once(factory: pytest.TempPathFactory, name: str, fill: Callable[[Path], object]) -> Path:
    """Fill a book once for all processes that test; each looks at a copy of its own."""
    folder = factory.mktemp(name) / "book"
    if SERVER or "PYTEST_XDIST_WORKER" not in os.environ:
        fill(lay_on_server(folder))
        return folder
    shared = factory.getbasetemp().parent / name
    with shared.with_suffix(".lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not shared.exists():
            fill(folder)
            shutil.copytree(folder, shared.with_suffix(".making"))
            shared.with_suffix(".making").rename(shared)
            return folder
    return copy_book(shared, folder)


@pytest.fixture(scope="session")
def fresh_book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make a new book once, by running every migration."""
    folder = lay_on_server(tmp_path_factory.mktemp("fresh"))
    sessions = open_book(Settings(book=folder, now=lambda: NOON))
    with sessions.write() as session:
        begin_book(session, "own")
        session.commit()
    sessions.close()
    return folder


@pytest.fixture
def book(fresh_book: Path, tmp_path: Path) -> Path:
    """Give each test a copy of the new book."""
    return copy_book(fresh_book, tmp_path / "book")


@pytest.fixture(scope="session")
def filled_book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make a book with something in every corner, once."""
    from tests.books import fill_book as fill

    return make_once(tmp_path_factory, "filled", fill)


@pytest.fixture
def worked_book(filled_book: Path, tmp_path: Path) -> Path:
    """Give each test a copy of the book with something in every corner."""
    return copy_book(filled_book, tmp_path / "worked")


@pytest.fixture(scope="session")
def whole_book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Fill a book with everything a shop comes to, once; for looking only."""
    from tests.books import fill_whole_book

    return make_once(tmp_path_factory, "whole", fill_whole_book)


@pytest.fixture
def clock() -> Clock:
    """Give a clock that stands at noon on 25 November 2026."""
    return Clock()


@pytest.fixture
def app(book: Path, clock: Clock):
    """Give the application on that book."""
    made = create_app(Settings(book=book, now=clock))
    yield made
    made.state.sessions.close()


@pytest.fixture
def sessions(app) -> Sessions:
    """Give the application's sessions, for looking into the book."""
    return app.state.sessions


@pytest.fixture
def client(app) -> Iterator[TestClient]:
    """Give a client that sends what a browser on this machine sends."""
    headers = {"Origin": "http://127.0.0.1", "Sec-Fetch-Site": "same-origin"}
    with TestClient(app, base_url="http://127.0.0.1", headers=headers) as made:
        yield made


@pytest.fixture
def browser(client: TestClient) -> Browser:
    """Give a browser without scripts."""
    return Browser(client)


@pytest.fixture
def take_in(browser: Browser):
    """Take pieces in through the page; gives the job's number."""

    def take(customer: str = "Ottilie Wiesenrauch", **typed: str | list[str]) -> int:
        browser.open("/drop-off")
        browser.send(
            "main form",
            do="take_in",
            **{
                "customer": "new",
                "customer_name": customer,
                "piece": "new",
                "piece_maker": "Kestrel Row",
                "piece_marking": "N4",
                "same_piece": "none",  # one like it may be in the book already
                **typed,
            },
        )
        return int(browser.path.rsplit("/", 1)[1])

    return take


@pytest.fixture
def read_line(browser: Browser):
    """Keep a job's readings by the notebook line."""

    def read(job: int, line: str, role: str = "as_received", **typed: str) -> None:
        browser.open(f"/jobs/{job}/readings?role={role}")
        browser.send("form[data-grid]", line=line, **typed)
        if "fits the others worst" in browser.text and browser.path.endswith("/readings"):
            browser.send("form[data-grid]")  # asked about, and kept
        assert browser.path == f"/jobs/{job}", browser.text

    return read


@pytest.fixture(scope="session")
def loaded_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Fill a new book with the made-up shop, as on 25 November 2026 at noon."""

    def fill(folder: Path) -> None:
        settings = Settings(book=folder, now=lambda: NOON)
        sessions = open_book(settings)
        with sessions.write() as session:
            fill_book(session, settings)
            session.commit()
        sessions.close()

    return make_once(tmp_path_factory, "made-up", fill)


@pytest.fixture
def loaded(loaded_folder: Path) -> Iterator[Sessions]:
    """Open that book for looking; tests that write take a copy."""
    sessions = open_book(Settings(book=loaded_folder, now=lambda: NOON))
    yield sessions
    sessions.engine.dispose()


@pytest.fixture
def loaded_copy(loaded_folder: Path, tmp_path: Path) -> Path:
    """Give a copy of that book to write in."""
    return copy_book(loaded_folder, tmp_path / "copy")


@pytest.fixture
def shop_browser(loaded_folder: Path) -> Iterator[Browser]:
    """Give a browser on the made-up shop, for looking only."""
    app = create_app(Settings(book=loaded_folder, now=lambda: NOON))
    with TestClient(app, base_url="http://127.0.0.1") as client:
        yield Browser(client)
