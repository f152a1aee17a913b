"""What is no whole, honest export is refused in words, with the book as it was."""

import hashlib
import json
import sqlite3
import tempfile
import zipfile
from contextlib import closing
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import text

from app.store.book import importing
from app.store.book.contents import content_hash
from app.store.book.importing import inspect_export
from app.store.book.migrating import migrate_book
from app.store.engines import open_engine
from app.store.problems import BookProblem
from tests.books import FIRST, THIRD, hash_of
from tests.store.book.test_opening import bytes_of
from tests.store.exports import bring, hash_book, take
from tests.store.scripts import MIGRATIONS

pytestmark = pytest.mark.sqlite_file


def rewritten(path: Path, target: Path, change) -> Path:
    """Copy a zip, changed: `change` takes the files by name and changes them."""
    with zipfile.ZipFile(path) as file:
        files = {one.filename: file.read(one) for one in file.infolist()}
    manifest = json.loads(files["manifest.json"])
    change(files, manifest)
    if "manifest.json" in files and files["manifest.json"] is not None:
        files["manifest.json"] = json.dumps(manifest).encode()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as file:
        for name, content in files.items():
            if content is not None:
                file.writestr(name, content)
    return target


def listed(manifest, name: str, content: bytes) -> None:
    manifest["files"][name] = {"sha256": hashlib.sha256(content).hexdigest(), "size": len(content)}


def put(name: str, content: bytes):
    def change(files, manifest):
        files[name] = content
        listed(manifest, name, content)

    return change


def swap(name: str, old: bytes, new: bytes, honest: bool = True):
    def change(files, manifest):
        assert old in files[name]
        files[name] = files[name].replace(old, new)
        if honest:
            listed(manifest, name, files[name])

    return change


def say(key: str, value):
    def change(_files, manifest):
        manifest[key] = value

    return change


BAD = {
    "a file missing": (lambda files, _: files.pop("papers/1/paper.pdf"), "not whole"),
    "a table missing": (
        lambda files, told: (files.pop("tables/job.csv"), told["files"].pop("tables/job.csv")),
        "the table job is missing",
    ),
    "no list": (lambda files, _: files.pop("manifest.json"), "no manifest.json"),
    "a file more": (lambda files, _: files.update({"more.txt": b"x"}), "does not name: more.txt"),
    "a byte changed": (swap("tables/customer.csv", b"Ottilie", b"Attilie", honest=False),
                       "not as it was written"),
    "longer than listed": (swap("tables/customer.csv", b"Ottilie", b"Ottiliee", honest=False),
                           "not as long as its list says"),
    "a value changed with its hash": (swap("tables/customer.csv", b"Ottilie", b"Attilie"),
                                      "customer does not say what its hash says"),
    "a reference to nobody": (swap("tables/piece.csv", b"\r\n1,1,", b"\r\n1,9,"),
                              "not fit together"),
    "a number that is none": (swap("tables/job.csv", b"\r\n1,1,1,", b"\r\n1,one,1,"),
                              "none of its column"),
    "a cell too many": (swap("tables/customer.csv", b"\r\n1,", b"\r\n1,,"), "cells and not"),
    "a column renamed": (swap("tables/customer.csv", b"id,name", b"id,nom"), "are not its own"),
    "an open quotation mark": (swap("tables/customer.csv", b"\r\n1,", b'\r\n"1,'), "can't be read"),
    "no UTF-8": (swap("tables/customer.csv", b"Ottilie", b"Ottili\xff"), "can't be read"),
    "a name that leads out": (put("photos/../../evil.jpg", b"x"), "leads out of its folder"),
    "an absolute name": (put("/evil/evil.jpg", b"x"), "leads out of its folder"),
    "a backslash": (put("photos\\..\\evil.jpg", b"x"), "leads out of its folder"),
    "a drive": (put("photos/C:evil.jpg", b"x"), "leads out of its folder"),
    "a bomb": (put("photos/bomb.jpg", b"\0" * 150_000_000), "would swell to"),
    "a newer schema": (say("schema", "29990101_later"), "written by a newer Laybook"),
    "a newer form": (say("form", 2), "Use the Laybook that wrote it"),
    "a list without files": (say("files", 3), "manifest.json can't be read"),
    "another schema's tables": (say("schema", "20261125_first"), "other tables"),
    "photographs unlike their hash": (lambda _f, m: m["content"].update(photos="0"),
                                      "did not arrive as they were"),
    "a photograph's name that leads out": (None, "no photograph's name"),
}  # fmt: skip


@pytest.mark.parametrize("fault", BAD)
def test_a_bad_export_is_refused_in_words_with_nothing_changed(fault, filled_zip, tmp_path, empty):
    change, words = BAD[fault]
    if change is None:
        change = _name_a_photo
    bad = rewritten(filled_zip, tmp_path / "bad.zip", change)
    before, content = bytes_of(empty), hash_of(empty / "book.sqlite3")
    with pytest.raises(BookProblem, match=words) as refused:
        take(empty, bad)
    assert len(str(refused.value)) < 400
    assert hash_of(empty / "book.sqlite3") == content
    assert bytes_of(empty) == before


def _name_a_photo(files, manifest):
    """Name a photograph `../book`, with every hash put right."""
    with tempfile.TemporaryDirectory() as folder:
        engine = open_engine(Path(folder))
        migrate_book(engine, MIGRATIONS)
        line = "1,1,,received,whole,,false,../book,1,1,2026-11-25T12:00:00+00:00,,1\r\n"
        files["tables/photo.csv"] += line.encode()
        listed(manifest, "tables/photo.csv", files["tables/photo.csv"])
        with engine.begin() as connection:
            connection.execute(text("PRAGMA defer_foreign_keys=ON"))
            connection.execute(text(
                "INSERT INTO photo VALUES (1,1,NULL,'received','whole','',0,'../book',1,1,"
                "'2026-11-25 12:00:00.000000',NULL,1)"
            ))  # fmt: skip
            found = content_hash(connection, None).tables["photo"]
            connection.rollback()
        engine.dispose()
    manifest["content"]["tables"]["photo"] = found


@pytest.mark.parametrize("cut", [0, 10, 5000, -30])
def test_a_zip_that_was_not_copied_whole_is_refused(cut, filled_zip, tmp_path, empty):
    content = filled_zip.read_bytes()
    bad = tmp_path / "bad.zip"
    bad.write_bytes(content[:cut])
    before = bytes_of(empty)
    with pytest.raises(BookProblem, match="not copied whole"):
        bring(empty, bad)
    assert bytes_of(empty) == before


@settings(max_examples=25, deadline=None)
@given(st.data())
def test_one_changed_byte_is_always_found(filled_zip, tmp_path_factory, data):
    """Wherever in the file: names, sizes, content, the list itself."""
    content = bytearray(filled_zip.read_bytes())
    at = data.draw(st.integers(0, len(content) - 1))
    content[at] ^= data.draw(st.integers(1, 255))
    bad = tmp_path_factory.mktemp("bytes") / "bad.zip"
    bad.write_bytes(content)
    try:
        inspect_export(bad, MIGRATIONS)
    except BookProblem:
        return
    # a byte that no reader looks at: a time, a mark of the packing program
    with zipfile.ZipFile(bad) as one, zipfile.ZipFile(filled_zip) as other:
        for name in other.namelist():
            assert one.read(name) == other.read(name)


def test_a_file_that_is_not_there_is_said_so(tmp_path, empty):
    with pytest.raises(BookProblem, match=r"can't be read: the folder is not there|is not there"):
        bring(empty, tmp_path / "none.zip")


def test_a_book_that_is_not_empty_is_left_alone(filled_zip, worked_book):
    before = hash_of(worked_book / "book.sqlite3"), hash_book(worked_book)
    with pytest.raises(BookProblem, match="not empty"):
        bring(worked_book, filled_zip)
    assert (hash_of(worked_book / "book.sqlite3"), hash_book(worked_book)) == before


def test_a_book_whose_settings_alone_were_changed_is_not_empty(filled_zip, book, browser):
    browser.open("/settings")
    browser.send("main form", name="The bench at the weir")
    with pytest.raises(BookProblem, match="not empty"):
        bring(book, filled_zip)
    browser.open("/settings")
    assert browser.page.select_one("[name=name]")["value"] == "The bench at the weir"


def test_photographs_already_there_are_left_alone(filled_zip, empty):
    (empty / "photos").mkdir()
    (empty / "photos" / THIRD).write_bytes(b"own")
    with pytest.raises(BookProblem, match="photographs already"):
        bring(empty, filled_zip)
    assert (empty / "photos" / THIRD).read_bytes() == b"own"


def test_an_import_cut_short_can_be_made_again(filled_zip, filled_book, empty, monkeypatch):
    def cut(*_arguments):
        raise KeyboardInterrupt

    monkeypatch.setattr("app.store.book.importing.replace_inside", cut)
    with pytest.raises(KeyboardInterrupt):
        bring(empty, filled_zip)
    monkeypatch.undo()
    (empty / "photos").mkdir(exist_ok=True)
    (empty / "photos" / FIRST).write_bytes((filled_book / "photos" / FIRST).read_bytes())
    bring(empty, filled_zip)
    assert hash_book(empty) == hash_book(filled_book)


def test_what_was_begun_meanwhile_is_never_replaced(filled_zip, empty, monkeypatch):
    """Somebody takes a piece in while the import is being prepared."""
    real = importing._bring_photos

    def meanwhile(*arguments):
        with closing(sqlite3.connect(empty / "book.sqlite3")) as connection:
            connection.execute("INSERT INTO message_text VALUES ('k', 's', 'b')")
            connection.commit()
        real(*arguments)

    monkeypatch.setattr(importing, "_bring_photos", meanwhile)
    with pytest.raises(BookProblem, match="not empty"):
        bring(empty, filled_zip)
    with closing(sqlite3.connect(empty / "book.sqlite3")) as connection:
        assert connection.execute("SELECT count(*) FROM message_text").fetchone() == (1,)
        assert connection.execute("SELECT count(*) FROM job").fetchone() == (0,)
    assert not list((empty / "photos").rglob("*.jpg"))
