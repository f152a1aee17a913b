"""The whole book to download, and both verbs: out by a press, in by the command line only."""

import csv
import io
import time
import zipfile
from threading import Event
from typing import Any

import pytest
from bs4 import BeautifulSoup
from fastapi.testclient import TestClient

from app.store.book import exporting
from app.store.book.contents import content_hash
from app.web.app import create_app
from app.web.commands import main
from app.web.settings import Settings
from tests.books import HEADERS, hash_of
from tests.conftest import Browser, Clock
from tests.store.exports import export, hash_book


def wait_for_export(client: TestClient) -> Any:
    """Look at the export's page until nothing is being made."""
    until = time.monotonic() + 60
    while "being written" in (page := client.get("/settings/export")).text:
        assert time.monotonic() < until
        time.sleep(0.02)
    return page


def take_export(client: TestClient, **headers: str) -> Any:
    """Have the book exported, and give the file's answer."""
    client.post("/settings/export")
    page = BeautifulSoup(wait_for_export(client).text, "html.parser")
    return client.get(page.select_one("a[download]")["href"], headers=headers)


@pytest.fixture
def worked(worked_book):
    app = create_app(Settings(book=worked_book, now=Clock()))
    with TestClient(app, base_url="http://127.0.0.1", headers=HEADERS) as client:
        yield client


def test_the_page_says_what_an_export_holds_and_gives_it_by_a_press(worked, worked_book, tmp_path):
    browser = Browser(worked)
    browser.open("/settings/backups")
    assert "names, addresses and telephone numbers" in browser.text
    assert "import FILE --book FOLDER" in browser.text
    before = hash_of(worked_book / "book.sqlite3")
    assert browser.page.select_one("form[action='/settings/export'] button").text == (
        "Export the whole book"
    )
    answer = take_export(worked)
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "application/zip"
    assert 'filename="laybook-2026-11-25.zip"' in answer.headers["content-disposition"]
    assert "no-store" in answer.headers["cache-control"]
    with zipfile.ZipFile(io.BytesIO(answer.content)) as file:
        assert {"READ ME.txt", "manifest.json", "tables/job.csv"} <= set(file.namelist())
    assert hash_of(worked_book / "book.sqlite3") == before
    assert (worked_book / ".exporting.zip").stat().st_mode & 0o777 == 0o600
    (tmp_path / "out.zip").write_bytes(answer.content)
    there = tmp_path / "there"
    assert main(["import", str(tmp_path / "out.zip"), "--book", str(there)]) == 0
    assert hash_book(there) == hash_book(worked_book)


def test_none_is_made_by_looking_nor_from_another_page(worked, worked_book):
    assert "None has been made" in worked.get("/settings/export").text
    assert worked.get("/settings/export/laybook-2026-11-25.zip").status_code == 404
    foreign = worked.post("/settings/export", headers={"Origin": "http://evil.example"})
    assert foreign.status_code == 403
    assert list(worked_book.glob("*exporting*")) == []


def test_an_export_without_room_says_so_and_leaves_nothing(worked, worked_book, monkeypatch):
    def full(*_args, **_keywords):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("app.store.book.exporting.written_whole", full)
    worked.post("/settings/export")
    answer = wait_for_export(worked)
    assert "No export was made: the disk is full." in answer.text
    assert str(worked_book) not in answer.text
    assert list(worked_book.glob("*exporting*")) == []


def test_it_says_how_far_it_is_while_other_pages_answer_and_can_be_broken_off(
    worked, worked_book, monkeypatch
):
    held, go_on = Event(), Event()
    read = exporting.read_rows

    def slow(connection, table):
        for row in read(connection, table):
            held.set()
            go_on.wait(60)
            yield row

    monkeypatch.setattr(exporting, "read_rows", slow)
    worked.post("/settings/export")
    assert held.wait(20)
    page = worked.get("/settings/export")
    assert "being written" in page.text
    assert "<progress" in page.text
    assert worked.get("/").status_code == 200
    worked.post("/settings/export")  # pressed again: still the same one
    told = worked.app.state.exporting._stop
    tell = told.set
    # it goes on only when it was told to stop, however slow the machine
    monkeypatch.setattr(told, "set", lambda: (tell(), go_on.set()))
    broken = worked.post("/settings/export/stop")
    assert "was broken off" in broken.text
    assert list(worked_book.glob("*exporting*")) == []
    assert take_export(worked).status_code == 200


def test_a_server_that_stops_breaks_it_off_and_leaves_nothing(worked_book, monkeypatch):
    held = Event()
    read = exporting.read_rows

    def slow(connection, table):
        for row in read(connection, table):
            held.set()
            yield row
            time.sleep(0.01)

    monkeypatch.setattr(exporting, "read_rows", slow)
    app = create_app(Settings(book=worked_book, now=Clock()))
    with TestClient(app, base_url="http://127.0.0.1", headers=HEADERS) as client:
        client.post("/settings/export")
        assert held.wait(20)
    assert list(worked_book.glob("*exporting*")) == []


def test_what_an_interrupted_export_or_import_left_is_cleared_away_at_the_next_start(worked_book):
    (worked_book / ".exporting.zip").write_bytes(b"whole")
    (worked_book / "..exporting.zip.partial").write_bytes(b"half")
    (worked_book / ".importing.sqlite3-wal").write_bytes(b"half")
    create_app(Settings(book=worked_book, now=Clock())).state.sessions.close()
    assert list(worked_book.glob("*porting*")) == []


@pytest.mark.usefixtures("worked")
def test_what_another_that_has_the_book_open_is_making_is_left_alone(worked_book):
    (worked_book / ".importing.sqlite3").write_bytes(b"half")
    create_app(Settings(book=worked_book, now=Clock())).state.sessions.close()
    assert (worked_book / ".importing.sqlite3").exists()


def test_the_verbs_carry_a_book_out_and_into_a_new_one(worked_book, tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert main(["export", "--book", str(worked_book)]) == 0
    said = capsys.readouterr().out
    assert "Written and read back" in said
    assert "names and addresses" in said
    (made,) = tmp_path.glob("laybook-*.zip")
    there = tmp_path / "there"
    assert main(["import", made.name, "--book", str(there)]) == 0
    assert "2 jobs, 2 pieces" in capsys.readouterr().out
    assert hash_book(there) == hash_book(worked_book)
    app = create_app(Settings(book=there, now=Clock()))
    with TestClient(app, base_url="http://127.0.0.1", headers=HEADERS) as client:
        browser = Browser(client)
        browser.open("/look-up?q=wiesen")
        assert browser.page.select("main a[href='/jobs/1']")
        for path in ("/", "/jobs/1", "/pieces/1", "/papers/1", "/customers/1"):
            browser.open(path)
        assert client.get("/papers/1/paper.pdf").content.startswith(b"%PDF")


def test_a_second_export_of_one_day_never_overwrites_the_first(worked_book, tmp_path, capsys):
    target = tmp_path / "out.zip"
    assert main(["export", "--book", str(worked_book), "--to", str(target)]) == 0
    was = target.read_bytes()
    assert main(["export", "--book", str(worked_book), "--to", str(target)]) == 1
    assert "is there already" in capsys.readouterr().err
    assert target.read_bytes() == was


def test_a_broken_file_begins_no_new_book(tmp_path, capsys):
    (tmp_path / "bad.zip").write_bytes(b"no zip")
    there = tmp_path / "there"
    assert main(["import", str(tmp_path / "bad.zip"), "--book", str(there)]) == 1
    assert "not copied whole" in capsys.readouterr().err
    assert not there.exists()


def test_a_filled_book_is_left_alone_by_the_verb(worked_book, tmp_path, capsys):
    export(worked_book, tmp_path / "out.zip")
    before = hash_book(worked_book)
    assert main(["import", str(tmp_path / "out.zip"), "--book", str(worked_book)]) == 1
    assert "is not empty" in capsys.readouterr().err
    assert hash_book(worked_book) == before


def test_a_book_that_is_not_there_is_not_begun_by_an_export(tmp_path, capsys):
    assert main(["export", "--book", str(tmp_path / "none")]) == 1
    assert "There is no book" in capsys.readouterr().err
    assert not (tmp_path / "none").exists()


def test_a_server_that_has_the_empty_book_open_sees_it_filled(worked_book, book, tmp_path):
    """The import takes the book's place in one transaction, under the server's feet."""
    export(worked_book, tmp_path / "out.zip")
    app = create_app(Settings(book=book, now=Clock()))
    with TestClient(app, base_url="http://127.0.0.1", headers=HEADERS) as client:
        assert client.get("/jobs/1").status_code == 404
        assert main(["import", str(tmp_path / "out.zip"), "--book", str(book)]) == 0
        assert client.get("/jobs/1").status_code == 200
        with app.state.sessions.read() as session:
            found = content_hash(session.connection(), book / "photos")
    assert found == hash_book(worked_book)


def test_a_piece_s_readings_come_as_a_table_that_computes_nothing(browser, take_in, read_line):
    job = take_in()
    read_line(job, "33.5/32.5 21.5 11.5 5.5 / 1.05", note="=HYPERLINK(1)")
    browser.open("/pieces/1")
    link = browser.page.select_one("a[href$='readings.csv']")
    answer = browser.client.get(link["href"])
    assert answer.headers["content-type"] == "text/csv; charset=utf-8"
    rows = list(csv.DictReader(io.StringIO(answer.text, newline="")))
    assert {row["note"] for row in rows} == {"'=HYPERLINK(1)"}
    assert {row["taken"] for row in rows} == {"as received"}
    thin = [(row["rail"], row["as typed"], row["value mm"], row["blade or gap mm"])
            for row in rows if "blade stops" in row["what"]][-2:]  # fmt: skip
    assert sorted(one[1:3] for one in thin) == [("32.5", "16.25"), ("33.5", "16.75")]
    assert next(row["value mm"] for row in rows if row["what"] == "the tip opening") == "1.05"
    assert browser.client.get("/pieces/99/readings.csv").status_code == 404
