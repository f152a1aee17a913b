"""Out and back: the whole book in one zip, readable without the program, and equal when it returns.

The CSV is held to RFC 4180 (sections 2.4 to 2.7: quoting, doubled quotation marks, CRLF) from
memory; zip names and sizes to what an attacker would put there.
"""

import csv
import gzip
import hashlib
import io
import json
import re
import sqlite3
import zipfile
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import MetaData

from app.core.cells import guard, read_cell, unguard, write_cell, write_lines
from app.store.backup import list_backups
from app.store.book import BookProblem, open_engine
from app.store.contents import content_hash, is_content, kind_of, list_tables
from app.store.describing import CODES, WORDS, describe_column
from app.store.exporting import export_book
from app.store.importing import import_book, inspect_export
from app.store.migrating import migrate_book
from app.store.tables import Base
from app.store.upkeep import read_upkeep
from app.web.app import open_book
from app.web.settings import VERSION, Settings
from tests.books import hash_of
from tests.conftest import NOON
from tests.store.keep_book import BOOKS, describe
from tests.store.random_books import fill_at_random
from tests.store.scripts import MIGRATIONS
from tests.store.test_kept_books import KEPT, MOVED_LATER
from tests.store.test_opening import bytes_of

PROGRAM = f"Laybook {VERSION}"
SIGNS = "=+-@'\t\r\n\"',; ＝a1"


def export(book: Path, target: Path, metadata: MetaData = Base.metadata):
    """Export a book as it lies in its folder."""
    engine = open_engine(book)
    with engine.connect() as connection:
        export_book(
            connection, book / "photos", target, program=PROGRAM, now=NOON, metadata=metadata
        )
    engine.dispose()


def hash_book(book: Path):
    engine = open_engine(book)
    with engine.connect() as connection:
        found = content_hash(connection, book / "photos")
    engine.dispose()
    return found


def new_book(folder: Path) -> Path:
    open_book(Settings(book=folder, now=lambda: NOON)).close()
    return folder


def bring(book: Path, path: Path):
    return import_book(book, path, MIGRATIONS, NOON)


def take(book: Path, path: Path):
    """Do what the command does: look at all of it, then bring it in."""
    inspect_export(path, MIGRATIONS)
    bring(book, path)


@pytest.fixture(scope="module")
def filled_zip(filled_book, tmp_path_factory) -> Path:
    target = tmp_path_factory.mktemp("out") / "book.zip"
    export(filled_book, target)
    return target


@pytest.fixture
def empty(book):
    return book


# --- words for whoever reads it


def test_every_table_and_column_is_described_in_words_and_none_that_is_not_there():
    tables = {table.name: table for table in list_tables()}
    assert WORDS.keys() == tables.keys()
    for name, table in tables.items():
        assert WORDS[name].holds
        assert set(WORDS[name].columns) <= {column.name for column in table.columns}, name
        for column in table.columns:
            assert len(describe_column(name, column.name)) > 5, (name, column.name)


def test_every_code_that_the_books_hold_is_told(filled_book, loaded_folder):
    for book in (filled_book, loaded_folder):
        with closing(sqlite3.connect(book / "book.sqlite3")) as connection:
            for place, codes in CODES.items():
                table, column = place.split(".")
                found = connection.execute(f"SELECT DISTINCT {column} FROM {table}").fetchall()  # noqa: S608
                assert {row[0] for row in found} <= {*codes, None, "", "unknown"}, place


def test_the_version_is_the_package_s():
    text = (Path(__file__).parents[2] / "pyproject.toml").read_text()
    assert re.search(r'^version = "(.+)"$', text, re.MULTILINE).group(1) == VERSION


# --- cells


@given(st.none() | st.text(st.sampled_from(SIGNS), max_size=6) | st.text(), st.booleans())
def test_a_text_s_cell_begins_no_formula_and_gives_the_text_back(text, may_be_none):
    if text is None and not may_be_none:
        return
    cell = write_cell(text, may_be_none=may_be_none, is_number=False)
    assert not cell.startswith(tuple("=+-@\t\r\n＝＋－＠"))
    assert read_cell(cell, may_be_none=may_be_none, is_number=False) == text


def test_numbers_stay_plain_and_texts_are_guarded():
    assert write_cell("-0.5", may_be_none=True, is_number=True) == "-0.5"
    assert write_cell("-0.5", may_be_none=True, is_number=False) == "'-0.5"
    assert (guard("'tis"), unguard("''tis"), unguard(guard("plain"))) == ("''tis", "'tis", "plain")


def test_lines_are_those_of_rfc_4180():
    rows = [["a", 'b "c"', "d,e", "f\ng", ""], ["é"]]
    assert b"".join(write_lines(rows)) == b'a,"b ""c""","d,e","f\ng",\r\n\xc3\xa9\r\n'


# --- out


def test_the_zip_is_read_without_this_program(filled_book, filled_zip):
    with zipfile.ZipFile(filled_zip) as file:
        assert file.testzip() is None
        manifest = json.loads(file.read("manifest.json"))
        assert set(file.namelist()) == set(manifest["files"]) | {"manifest.json"}
        for name, mark in manifest["files"].items():
            content = file.read(name)
            assert (hashlib.sha256(content).hexdigest(), len(content)) == (
                mark["sha256"], mark["size"])  # fmt: skip
        customers = list(csv.DictReader(io.StringIO(file.read("tables/customer.csv").decode())))
        assert [one["name"] for one in customers] == ["Ottilie Wiesenbach", "Jörg Łuczak"]
        assert manifest["files"]["tables/customer.csv"]["rows"] == 2
        readings = list(csv.DictReader(io.StringIO(file.read("tables/reading.csv").decode())))
        tips = [one["value_mm"] for one in readings if one["quantity"] == "tip"]
        assert tips[:2] == ["1.02", "1.1"]
        assert file.read("papers/1/paper.pdf").startswith(b"%PDF")
        assert b"Ottilie Wiesenbach" in file.read("papers/1/paper.html")
        photo = (filled_book / "photos" / "2026" / "first.png").read_bytes()
        assert file.read("photos/2026/first.png") == photo
        words = file.read("READ ME.txt").decode()
        assert "one apostrophe off" in words
        assert max(len(line) for line in words.splitlines()) <= 100
        fields = list(csv.DictReader(io.StringIO(file.read("fields.csv").decode())))
        assert all(one["meaning"] for one in fields)
        owner = next(
            one for one in fields if (one["table"], one["column"]) == ("piece", "owner_id")
        )
        assert owner["points to"] == "customer.id"
        assert (manifest["schema"], manifest["program"], manifest["form"]) == (
            "20261125_messages" if "20261125_forgetting" not in manifest["schema"]
            else "20261125_forgetting", PROGRAM, 1)  # fmt: skip


def test_nothing_of_this_machine_leaves_with_it(filled_zip):
    with zipfile.ZipFile(filled_zip) as file:
        names = " ".join(file.namelist())
    for word in ("passphrase", "upkeep", "backup", "submission", "draft", "_search", "alembic"):
        assert word not in names


def test_only_its_owner_may_read_it_and_no_file_is_overwritten(worked_book, tmp_path):
    target = tmp_path / "out.zip"
    export(worked_book, target)
    assert target.stat().st_mode & 0o077 == 0
    was = target.read_bytes()
    with pytest.raises(BookProblem, match="is there already"):
        export(worked_book, target)
    assert target.read_bytes() == was


def test_an_export_that_fails_leaves_no_file(worked_book, tmp_path):
    target = tmp_path / "out.zip"
    (worked_book / "photos" / "a:b.jpg").write_bytes(b"x")
    with pytest.raises(BookProblem, match="plain name"):
        export(worked_book, target)
    with pytest.raises(BookProblem, match="folder is not there"):
        export(worked_book, tmp_path / "nowhere" / "out.zip")
    assert list(tmp_path.glob("*out.zip*")) == []


def test_what_could_not_be_read_back_is_no_export(worked_book, tmp_path, monkeypatch):
    monkeypatch.setattr("app.core.cells.guard", lambda text: text)
    engine = open_engine(worked_book)
    with engine.execution_options(writes=True).begin() as connection:
        connection.exec_driver_sql("UPDATE customer SET notes = '''tis'")
    engine.dispose()
    with pytest.raises(BookProblem, match="customer could not be read back"):
        export(worked_book, tmp_path / "out.zip")
    assert list(tmp_path.glob("*out.zip*")) == []


# --- and back


def test_the_book_returns_with_equal_content(filled_book, filled_zip, empty):
    done = bring(empty, filled_zip)
    assert (done.jobs, done.pieces, done.made_at) == (2, 2, NOON.isoformat())
    assert hash_book(empty) == hash_book(filled_book)
    assert describe(empty / "book.sqlite3") | {"draft": 0, "submission": 0} == describe(
        filled_book / "book.sqlite3"
    ) | {"draft": 0, "submission": 0}
    (made,) = list_backups(empty, read_upkeep(empty, NOON))
    assert made.reason == "before_import"
    assert not list(empty.glob(".importing*"))


def test_the_made_up_shop_returns_with_equal_content(loaded_folder, tmp_path, empty):
    export(loaded_folder, tmp_path / "shop.zip")
    done = bring(empty, tmp_path / "shop.zip")
    assert done.jobs > 20
    assert hash_book(empty) == hash_book(loaded_folder)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_book_of_random_content_returns_with_equal_content(seed, tmp_path, empty):
    folder = tmp_path / "random"
    engine = open_engine(folder)
    migrate_book(engine, MIGRATIONS)
    with engine.execution_options(writes=True).begin() as connection:
        fill_at_random(connection, folder / "photos", seed)
        assert connection.exec_driver_sql("PRAGMA foreign_key_check").all() == []
    engine.dispose()
    export(folder, tmp_path / "random.zip")
    bring(empty, tmp_path / "random.zip")
    assert hash_book(empty) == hash_book(folder)
    one, other = (describe(book / "book.sqlite3") for book in (folder, empty))
    assert one == other
    photos = {p.relative_to(folder): p.read_bytes() for p in (folder / "photos").rglob("*.*")}
    assert len(photos) == 4
    for name, content in photos.items():
        assert (empty / name).read_bytes() == content


@pytest.mark.parametrize("revision", KEPT)
def test_an_earlier_schema_s_export_comes_in_up_to_date(revision, tmp_path, empty):
    old = tmp_path / "old"
    old.mkdir()
    (old / "photos").mkdir()
    database = old / "book.sqlite3"
    database.write_bytes(gzip.decompress((BOOKS / f"{revision}.sqlite3.gz").read_bytes()))
    was = json.loads((BOOKS / f"{revision}.json").read_text())
    metadata, engine = MetaData(), open_engine(old)
    metadata.reflect(engine, only=lambda name, _: is_content(name))
    engine.dispose()
    export(old, tmp_path / "old.zip", metadata)
    assert bring(empty, tmp_path / "old.zip").jobs == 2
    columns = {
        name: [c for c in one["columns"] if c not in MOVED_LATER.get(name, ())]
        for name, one in was.items()
        if name not in {"submission", "draft"}
    }
    assert describe(empty / "book.sqlite3", columns) == describe(database, columns)
    sessions = open_book(Settings(book=empty, now=lambda: NOON))
    from app.store.lookups import find_jobs

    with sessions.read() as session:
        assert find_jobs(session, "wiesenbach")
    sessions.close()


# --- refused


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
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        engine = open_engine(Path(folder))
        migrate_book(engine, MIGRATIONS)
        from sqlalchemy import text

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


def test_photographs_already_there_are_left_alone(filled_zip, empty):
    (empty / "photos").mkdir()
    (empty / "photos" / "own.jpg").write_bytes(b"own")
    with pytest.raises(BookProblem, match="photographs already"):
        bring(empty, filled_zip)
    assert (empty / "photos" / "own.jpg").read_bytes() == b"own"


def test_an_import_cut_short_can_be_made_again(filled_zip, filled_book, empty, monkeypatch):
    def cut(*_arguments):
        raise KeyboardInterrupt

    monkeypatch.setattr("app.store.importing.replace_inside", cut)
    with pytest.raises(KeyboardInterrupt):
        bring(empty, filled_zip)
    monkeypatch.undo()
    (empty / "photos" / "2026").mkdir(parents=True, exist_ok=True)
    photo = filled_book / "photos" / "2026" / "first.png"
    (empty / "photos" / "2026" / "first.png").write_bytes(photo.read_bytes())
    bring(empty, filled_zip)
    assert hash_book(empty) == hash_book(filled_book)


def test_what_was_begun_meanwhile_is_never_replaced(filled_zip, empty, monkeypatch):
    """Somebody takes a piece in while the import is being prepared."""
    from app.store import importing

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
    assert not list((empty / "photos").rglob("*.png"))


def test_a_day_before_zips_were_known_is_written_as_their_first(worked_book, tmp_path):
    engine = open_engine(worked_book)
    with engine.connect() as connection:
        export_book(connection, worked_book / "photos", tmp_path / "old.zip", program=PROGRAM,
                    now=datetime(1970, 1, 2, tzinfo=UTC))  # fmt: skip
    engine.dispose()
    inspect_export(tmp_path / "old.zip", MIGRATIONS)


def test_kinds_of_columns_are_named_as_the_fields_say(filled_zip):
    with zipfile.ZipFile(filled_zip) as file:
        fields = list(csv.DictReader(io.StringIO(file.read("fields.csv").decode())))
    kinds = {one["kind"] for one in fields} - {""}
    assert kinds == {kind_of(c) for t in list_tables() for c in t.columns} - {"bytes"} | {"file"}
