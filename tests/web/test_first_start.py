"""A new book asks once how to begin, and the made-up shop never touches it."""

import hashlib
import sqlite3
from dataclasses import replace
from pathlib import Path
from urllib.error import URLError
from urllib.request import urlopen

import pytest
from fastapi.testclient import TestClient

from app.web.app import create_app
from app.web.demo import filling as demo
from app.web.settings import Settings
from tests.conftest import Browser


def say(path: Path) -> str:
    """Give a book's whole content as one hash."""
    with sqlite3.connect(path / "book.sqlite3") as book:
        text = "\n".join(book.iterdump())
    book.close()
    return hashlib.sha256(text.encode()).hexdigest()


@pytest.fixture
def new_book(tmp_path: Path) -> Path:
    return tmp_path / "new"


@pytest.fixture
def new_browser(new_book: Path, clock):
    """Open a book that nobody has begun."""
    headers = {"Origin": "http://127.0.0.1", "Sec-Fetch-Site": "same-origin"}
    app = create_app(Settings(book=new_book, now=clock))
    with TestClient(app, base_url="http://127.0.0.1", headers=headers) as client:
        yield Browser(client)


@pytest.fixture
def few_lines(monkeypatch):
    """Let the made-up shop be its first two days, which load at once."""
    whole = demo.read_made_up_shop()
    few = replace(whole, lines=whole.lines[:3])
    monkeypatch.setattr(demo, "read_made_up_shop", lambda: few)


def test_a_new_book_asks_how_to_begin_and_only_once(new_browser):
    new_browser.open("/")
    assert new_browser.path == "/first-start"
    assert new_browser.page.select_one("main .do").text == "Begin with an empty book"
    new_browser.send("form[action$=begin]")
    assert new_browser.path == "/first-start"
    ways = [one["href"] for one in new_browser.page.select(".choice a")]
    assert ways[:3] == ["/drop-off", "/notebook", "/settings"]
    new_browser.open("/")
    assert new_browser.path == "/"
    assert "Nothing is on the bench" in new_browser.text
    new_browser.open("/first-start")
    assert not new_browser.page.select("form[action$=begin]")


def test_a_book_in_which_somebody_wrote_without_answering_is_not_asked(new_browser):
    new_browser.open("/settings")
    new_browser.send("main form", name="The Third Bench")
    new_browser.open("/")
    assert new_browser.path == "/"


def test_looking_at_the_first_page_writes_nothing(new_browser, new_book):
    before = say(new_book)
    new_browser.open("/")
    new_browser.open("/first-start")
    assert say(new_book) == before


@pytest.mark.usefixtures("few_lines")
def test_the_made_up_shop_opens_beside_the_book_and_goes_without_a_trace(
    new_browser, new_book, tmp_path, monkeypatch
):
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    before = say(new_book)
    new_browser.open("/")
    new_browser.send("form[action$=made-up]")
    link = new_browser.page.select_one("main a.do")["href"]
    page = urlopen(link, timeout=20).read().decode()  # noqa: S310 - our own address
    assert "What you write here is thrown away" in page
    assert "Sleepy Heron" in page
    assert len(list(tmp_path.glob("laybook-made-up-*"))) == 1
    new_browser.open("/customers")
    assert "Nobody yet" in new_browser.text
    assert not new_browser.page.select(".made-up")
    new_browser.open("/first-start")
    new_browser.send("form[action$=close]")
    assert not new_browser.page.select("main a.do")
    with pytest.raises(URLError):
        urlopen(link, timeout=5)  # noqa: S310
    assert list(tmp_path.glob("laybook-made-up-*")) == []
    assert say(new_book) == before


@pytest.mark.usefixtures("few_lines")
def test_opened_twice_it_is_one_and_stopping_laybook_closes_it(
    new_book, clock, tmp_path, monkeypatch
):
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    app = create_app(Settings(book=new_book, now=clock))
    with TestClient(app):
        beside = app.state.made_up_beside
        assert beside.open() == beside.open()
        assert len(list(tmp_path.glob("laybook-made-up-*"))) == 1
    assert list(tmp_path.glob("laybook-made-up-*")) == []


def test_a_made_up_shop_that_cannot_be_filled_leaves_nothing_behind(
    new_book, clock, tmp_path, monkeypatch
):
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    whole = demo.read_made_up_shop()
    bad = replace(whole, lines=(replace(whole.lines[1], job=99),))
    monkeypatch.setattr(demo, "read_made_up_shop", lambda: bad)
    app = create_app(Settings(book=new_book, now=clock))
    with TestClient(app), pytest.raises(KeyError):
        app.state.made_up_beside.open()
    assert app.state.made_up_beside.address == ""
    assert list(tmp_path.glob("laybook-made-up-*")) == []
