"""When the book can't be written, nothing is lost: not what is in it, not what was typed."""

import os
import re
import resource
import shutil
import sqlite3
import subprocess
import sys
import threading
from contextlib import closing, contextmanager, suppress
from pathlib import Path

import pytest
from bs4 import BeautifulSoup
from fastapi.testclient import TestClient
from sqlalchemy import event

from app.store.on_sqlite import PRAGMAS
from app.web.app import create_app
from app.web.settings import Settings
from app.web.troubles import HIDDEN
from tests.books import HEADERS, content_of, hash_of, rows_of
from tests.conftest import Browser, Clock, form_values
from tests.faults.servers import DidNotStart, Server

# Every form that writes: where it stands, which form it is, what is typed.
FORMS = {
    "drop-off": ("/drop-off", "main form", {
        "do": "take_in", "customer": "new", "customer_name": "Käthe Üngernix",
        "piece_marking": "9*", "request": "two\nlines & <b>",
        "condition": ["cracked", "loose ring"]}),
    "readings": ("/jobs/1/readings?role=at_the_bench", "form[data-grid]",
                 {"line": "35 23 13 7 / 1.05", "note": "after pass {i}"}),
    "correction": ("/readings/2/correct", "form[data-grid]",
                   {"tip": "1.1{i}", "why": "misread, {i}"}),
    "pass": ("/jobs/1", "form[action$=passes]", {"kind": "tilted", "strokes": "12"}),
    "note": ("/jobs/1", "form[action$=notes]", {"note": "It whistles on the high E, {i}."}),
    "stage": ("/jobs/1", "form.with-button", {"stage": ("returned", "ready")}),
    "agreed": ("/jobs/1/edit", "main form", {"agreed_work": "open the tip {i}", "deposit": "20"}),
    "paper": ("/jobs/1/papers/intake_slip", "main form", {}),
    "customer": ("/customers/1/edit", "main form", {"notes": "likes to wait {i}"}),
    "piece": ("/pieces/1/edit", "main form", {"telling_marks": "a notch {i}"}),
    "owner": ("/pieces/1/owner?find=01632", "main form[method=post]", {"owner": ("2", "1")}),
    "shop": ("/settings", "main form", {"phone": "01632 9607{i}"}),
}  # fmt: skip


def typed_at(typed: dict, i: int) -> dict:
    """Give what is typed the i-th time: each time something new."""
    return {
        name: value[i % len(value)] if isinstance(value, tuple)
        else value.replace("{i}", str(i)) if isinstance(value, str) else value
        for name, value in typed.items()
    }  # fmt: skip


@contextmanager
def opened(book: Path, on_connect=None):
    """Open the application on a book as a browser would see it."""
    app = create_app(Settings(book=book, now=Clock()))
    if on_connect:
        event.listen(app.state.sessions.engine, "connect", on_connect)
        app.state.sessions.engine.dispose()
    with TestClient(app, base_url="http://127.0.0.1", headers=HEADERS) as client:
        yield Browser(client)


@contextmanager
def held(book: Path):
    """Hold the book's write lock as another program would."""
    with closing(sqlite3.connect(book / "book.sqlite3", isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        yield
        other.execute("ROLLBACK")


def sent(browser: Browser, form: str, typed: dict) -> dict[str, list[str]]:
    """Give what a browser would send from a form of the open page."""
    data: dict[str, list[str]] = {}
    for name, value in form_values(browser.page.select_one(form)):
        data.setdefault(name, []).append(value)
    return data | {k: v if isinstance(v, list) else [v] for k, v in typed.items()}


def carried(browser: Browser) -> dict[str, list[str]]:
    """Give what the page that says what is wrong would send again."""
    data: dict[str, list[str]] = {}
    for name, value in form_values(browser.page.select_one("main form")):
        data.setdefault(name, []).append(value)
    return data


@pytest.mark.parametrize("name", FORMS)
def test_a_book_held_by_another_program_answers_503_keeps_the_form_and_makes_one_record(
    worked_book, monkeypatch, name
):
    monkeypatch.setitem(PRAGMAS, "busy_timeout", 50)
    path, form, typed = FORMS[name]
    typed = typed_at(typed, 0)
    with opened(worked_book) as browser:
        browser.open(path)
        data = sent(browser, form, typed)
        before = hash_of(worked_book / "book.sqlite3")
        with held(worked_book):
            browser.send(form, status=503, **typed)
            assert "The book is busy" in browser.text
            assert carried(browser) == data
            for field, value in typed.items():
                shown = value if isinstance(value, str) else value[0]
                assert shown.split("\n")[0] in browser.text or field in HIDDEN
            # Pressing again while it is still held changes nothing and loses nothing.
            browser.send("main form", status=503)
            assert carried(browser) == data
        assert hash_of(worked_book / "book.sqlite3") == before
        browser.send("main form")
        once = content_of(worked_book / "book.sqlite3")
        assert hash_of(worked_book / "book.sqlite3") != before
        if "token" in data:
            browser.client.post(path.split("?")[0], data=data)
            if browser.page.select_one("form"):
                assert content_of(worked_book / "book.sqlite3") == once


def test_readers_are_not_held_up_by_a_writer(worked_book):
    with opened(worked_book) as browser, held(worked_book):
        for path in ("/", "/jobs/1", "/pieces/1", "/look-up?q=kestrel", "/settings/backups"):
            browser.open(path)


@pytest.mark.long
@pytest.mark.parametrize("name", FORMS)
def test_a_full_database_answers_503_keeps_the_form_reads_on_and_recovers(worked_book, name):
    path, form, typed = FORMS[name]
    limits = {"pages": None}

    def limit(connection, _record):
        if limits["pages"]:
            connection.execute(f"PRAGMA max_page_count={limits['pages']}")

    with closing(sqlite3.connect(worked_book / "book.sqlite3")) as connection:
        connection.execute("VACUUM")
        pages = connection.execute("PRAGMA page_count").fetchone()[0]
    with opened(worked_book, limit) as browser:
        engine = browser.client.app.state.sessions.engine
        limits["pages"] = pages
        engine.dispose()
        for i in range(200):
            if name == "correction" and browser.path.startswith("/jobs/"):
                path = browser.page.select("#readings tbody a")[-1]["href"] + "/correct"
            browser.open(path)
            data = sent(browser, form, typed_at(typed, i))
            before = hash_of(worked_book / "book.sqlite3")
            browser.send(form, status=None, **typed_at(typed, i))
            if browser.status != 200:
                break
        assert browser.status == 503, browser.text
        assert "The disk is full" in browser.text
        assert carried(browser) == data
        assert hash_of(worked_book / "book.sqlite3") == before
        for reading in ("/", "/jobs/1", "/pieces/1", "/look-up?q=kestrel"):
            browser.client.get(reading).raise_for_status()
        limits["pages"] = None
        engine.dispose()
        browser.send("main form")
        assert hash_of(worked_book / "book.sqlite3") != before


@pytest.fixture
def small_disk(tmp_path):
    """Give a disk of three megabytes."""
    place = tmp_path / "disk"
    place.mkdir()
    made = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=3m", "tmpfs", place], check=False, capture_output=True
    )
    if made.returncode:
        pytest.skip("a small disk can only be made by root")
    yield place
    subprocess.run(["umount", "-l", place], check=True)


def fill(disk: Path) -> Path:
    """Fill a disk to the last byte."""
    ballast = disk / "ballast"
    with ballast.open("wb", buffering=0) as file, suppress(OSError):
        while file.write(bytes(4096)):
            pass
    assert os.statvfs(disk).f_bavail == 0
    return ballast


# The notes sent in a row carry n0, n1, …; forms of pages carry long random tokens.
OURS = "SELECT count(*) FROM submission WHERE token GLOB 'n[0-9]*' AND length(token) < 6"
NOTE = {"note": "written while the disk was full", "token": "full-disk-token"}


def form_of(answer) -> dict[str, str]:
    """Give the fields of the form that would send it again."""
    page = BeautifulSoup(answer.text, "html.parser")
    return dict(form_values(page.select_one("main form")))


@pytest.mark.long
def test_on_a_really_full_disk_a_server_reads_on_keeps_the_form_and_recovers(
    worked_book, small_disk
):
    book = Path(shutil.copytree(worked_book, small_disk / "book"))
    before = content_of(book / "book.sqlite3")
    with Server(book) as server:
        ballast = fill(small_disk)
        answer = server.post("/jobs/1/notes", NOTE)
        # The write-ahead log may have had room left: go on until it has none.
        tries = 0
        while answer.status == 303:
            tries += 1
            answer = server.post("/jobs/1/notes", {"note": "x" * 4000, "token": f"t{tries}"})
        assert answer.status == 503
        assert "The disk is full" in answer.text
        assert len(form_of(answer)["note"]) >= 30
        for path in ("/", "/jobs/1", "/pieces/1", "/readings/1", "/readings/1/profile.svg"):
            assert server.get(path).status == 200
        assert server.post("/settings/backups/make", {}).status == 200
        (said,) = re.findall(r"The last backup failed: [^<]*", server.get("/").text)
        assert "the disk is full" in said
        ballast.unlink()
        assert server.post("/jobs/1/notes", form_of(answer)).status == 303
        assert server.post("/jobs/1/notes", form_of(answer)).status == 303
        assert server.post("/settings/backups/make", {}).status == 303
        assert "failed" not in server.get("/").text
    after = content_of(book / "book.sqlite3")
    assert rows_of(book / "book.sqlite3", "PRAGMA integrity_check") == [("ok",)]
    for name, rows in before.items():
        if "_search" not in name:
            assert set(rows) <= set(after[name])
    assert len(after["event"]) == len(before["event"]) + tries + 1


@pytest.mark.long
def test_a_server_killed_on_a_full_disk_loses_nothing_it_acknowledged(worked_book, small_disk):
    book = Path(shutil.copytree(worked_book, small_disk / "book"))
    server = Server(book).wait()
    kept, answer = 0, server.post("/jobs/1/notes", {"note": "0", "token": "n0"})
    ballast = None
    while answer.status == 303:
        ballast = fill(small_disk) if kept == 5 else ballast
        kept += 1
        answer = server.post("/jobs/1/notes", {"note": f"{kept}" * 999, "token": f"n{kept}"})
    server.kill()
    try:  # whether it can start depends on what the killed one left room for
        Server(book).wait().stop()
        said = "can't be opened"
    except DidNotStart as words:
        said = str(words)
    assert "can't be opened" in said
    assert "Traceback" not in said
    ballast.unlink()
    with Server(book) as again:
        assert again.get("/jobs/1").status == 200
    found = rows_of(book / "book.sqlite3", OURS)
    assert found == [(kept,)]


@pytest.mark.long
def test_a_disk_that_refuses_to_write_is_answered_in_words_and_nothing_is_lost(worked_book):
    """RLIMIT_FSIZE: the system refuses every write past a size, as a failing disk would."""
    book = worked_book
    size = os.path.getsize(book / "book.sqlite3")

    def limit() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (120_000, resource.RLIM_INFINITY))

    assert size > 120_000
    server = Server(book, before_start=limit, environment={"PYTHONDONTWRITEBYTECODE": "1"}).wait()
    kept, answer = 0, server.post("/jobs/1/notes", {"note": "0", "token": "n0"})
    while answer.status == 303 and kept < 200:
        kept += 1
        answer = server.post("/jobs/1/notes", {"note": f"{kept} " * 900, "token": f"n{kept}"})
    assert answer.status == 503
    assert "The book can’t be written" in answer.text
    assert form_of(answer)["token"] == f"n{kept}"
    for path in ("/", "/jobs/1", "/pieces/1"):
        assert server.get(path).status == 200
    server.kill()
    with Server(book) as again:
        found = rows_of(book / "book.sqlite3", OURS)
        assert found == [(kept,)]
        assert again.post("/jobs/1/notes", form_of(answer)).status == 303
    assert rows_of(book / "book.sqlite3", "PRAGMA integrity_check") == [("ok",)]


def test_more_writers_than_connections_wait_and_all_get_through(worked_book):
    with opened(worked_book) as browser:
        answers: list[int] = []

        def post(number: int) -> None:
            data = {"note": f"at once {number}", "token": f"at-once-{number}"}
            answers.append(
                browser.client.post("/jobs/1/notes", data=data, follow_redirects=False).status_code
            )

        threads = [threading.Thread(target=post, args=(n,)) for n in range(60)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert answers == [303] * 60
    found = rows_of(worked_book / "book.sqlite3", "SELECT count(*) FROM submission")
    assert found[0][0] >= 60


def test_an_error_of_the_program_s_own_keeps_the_form_shows_no_trace_and_has_the_headers(
    worked_book, monkeypatch
):
    def fail(*_args, **_keywords):
        raise ValueError("secret path /home/somebody")

    monkeypatch.setattr("app.web.jobs.jobs.add_event", fail)
    app = create_app(Settings(book=worked_book, now=Clock()))
    with TestClient(
        app, base_url="http://127.0.0.1", headers=HEADERS, raise_server_exceptions=False
    ) as client:
        answer = client.post("/jobs/1/notes", data=NOTE)
    assert answer.status_code == 500
    assert form_of(answer) == NOTE
    assert "secret path" not in answer.text
    assert "Traceback" not in answer.text
    assert "default-src 'none'" in answer.headers["content-security-policy"]
    assert answer.headers["cache-control"] == "no-store"
    assert sys.prefix not in answer.text
