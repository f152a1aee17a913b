"""Out and back: the whole book in one zip, readable without the program, and equal when it returns.

The CSV is held to RFC 4180 (section 2: CRLF, quoting, doubled quotation marks), from memory.
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
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import MetaData

from app.core.values.cells import guard, read_cell, unguard, write_cell, write_lines
from app.store.book.backup import list_backups
from app.store.book.contents import is_content, kind_of, list_tables
from app.store.book.describing import CODES, column_words, describe_column
from app.store.book.exporting import export_book
from app.store.book.importing import inspect_export
from app.store.book.migrating import migrate_book, newest_revision
from app.store.book.upkeep import read_upkeep
from app.store.engines import open_engine
from app.store.problems import BookProblem
from app.web.app import open_book
from app.web.settings import VERSION, Settings
from tests.books import FIRST
from tests.conftest import NOON
from tests.store.exports import PROGRAM, bring, export, hash_book, looking
from tests.store.keep_book import BOOKS, describe
from tests.store.random_books import fill_at_random
from tests.store.scripts import MIGRATIONS
from tests.store.test_kept_books import KEPT, MOVED_LATER

pytestmark = pytest.mark.sqlite_file

SIGNS = "=+-@'\t\r\n\"',; ＝a1"


# --- words for whoever reads it


def test_every_table_and_column_is_described_in_words_and_none_that_is_not_there():
    tables = {table.name: table for table in list_tables()}
    words = column_words()
    assert words.keys() == {*tables, "everywhere"}
    for name, table in tables.items():
        assert words[name]["table"]
        assert set(words[name]) <= {"table", *(column.name for column in table.columns)}, name
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
    text = (Path(__file__).parents[3] / "pyproject.toml").read_text()
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
        assert [one["name"] for one in customers] == ["Ottilie Wiesenrauch", "Jörg Łuckenwirbel"]
        assert manifest["files"]["tables/customer.csv"]["rows"] == 2
        readings = list(csv.DictReader(io.StringIO(file.read("tables/reading.csv").decode())))
        tips = [one["value_mm"] for one in readings if one["quantity"] == "tip"]
        assert tips[:2] == ["1.05", "1.13"]
        assert file.read("papers/1/paper.pdf").startswith(b"%PDF")
        assert b"Ottilie Wiesenrauch" in file.read("papers/1/paper.html")
        photo = (filled_book / "photos" / FIRST).read_bytes()
        assert file.read(f"photos/{FIRST}") == photo
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
            newest_revision(MIGRATIONS), PROGRAM, 1)  # fmt: skip


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
    with pytest.raises(BookProblem, match="folder is not there"):
        export(worked_book, tmp_path / "nowhere" / "out.zip")
    assert list(tmp_path.glob("*out.zip*")) == []


def test_what_could_not_be_read_back_is_no_export(worked_book, tmp_path, monkeypatch):
    monkeypatch.setattr("app.core.values.cells.guard", lambda text: text)
    engine = open_engine(worked_book)
    with engine.execution_options(writes=True).begin() as connection:
        connection.exec_driver_sql("UPDATE customer SET notes = '''tis'")
    engine.dispose()
    with pytest.raises(BookProblem, match="customer could not be read back"):
        export(worked_book, tmp_path / "out.zip")
    assert list(tmp_path.glob("*out.zip*")) == []


# --- and back


def mark_of(book) -> str:
    with looking(book) as connection:
        return connection.exec_driver_sql("SELECT mark FROM shop").scalar_one()


def test_the_book_returns_with_equal_content(filled_book, filled_zip, empty):
    done = bring(empty, filled_zip)
    assert (done.jobs, done.pieces, done.made_at) == (2, 2, NOON)
    assert hash_book(empty) == hash_book(filled_book)
    marks = {mark_of(empty), mark_of(filled_book)}
    assert [mark[:4] for mark in marks] == ["<svg"]
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


@pytest.mark.parametrize(
    "seed", [1, *(pytest.param(more, marks=pytest.mark.long) for more in (2, 3))]
)
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
    assert len(photos) == 3
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
    assert bring(empty, tmp_path / "old.zip").jobs == was["job"]["count"]
    columns = {
        name: [c for c in one["columns"] if c not in MOVED_LATER.get(name, ())]
        for name, one in was.items()
        if name not in {"submission", "draft"}
    }
    assert describe(empty / "book.sqlite3", columns) == describe(database, columns)
    sessions = open_book(Settings(book=empty, now=lambda: NOON))
    from app.store.records.search import find_jobs

    with sessions.read() as session:
        assert find_jobs(session, "wiesen")
    sessions.close()


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
