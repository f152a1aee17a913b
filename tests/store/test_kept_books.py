"""Books of earlier schemas, kept as they were, come up to date with every record by content."""

import gzip
import json

import pytest

from app.store.book.migrating import newest_revision
from app.web.app import create_app
from app.web.settings import Settings
from tests.conftest import Browser, Clock
from tests.store.keep_book import BOOKS, describe
from tests.store.scripts import MIGRATIONS

# Columns a later schema gave up for a table of their own; and the words that a new book began with,
# renewed where a shop kept them (tests/store/book/test_migrating.py).
MOVED_LATER = {"blade_set": {"family"}, "slip": {"picture"}, "shop": {"care_text", "terms"}}
KEPT = sorted(one.name.removesuffix(".sqlite3.gz") for one in BOOKS.glob("*.sqlite3.gz"))


def test_books_of_the_first_schema_and_of_the_present_one_are_kept():
    """Whoever changes the schema keeps a book of it: `python -m tests.store.keep_book`."""
    assert {"20261125_first", newest_revision(MIGRATIONS)} <= set(KEPT)


@pytest.mark.parametrize("revision", KEPT)
def test_an_earlier_book_comes_up_to_date_and_every_record_is_found_by_content(revision, tmp_path):
    from fastapi.testclient import TestClient

    database = tmp_path / "book.sqlite3"
    database.write_bytes(gzip.decompress((BOOKS / f"{revision}.sqlite3.gz").read_bytes()))
    was = json.loads((BOOKS / f"{revision}.json").read_text())
    assert was["customer"]["count"] >= 2
    app = create_app(Settings(book=tmp_path, now=Clock()))
    with TestClient(app, base_url="http://127.0.0.1") as client:
        browser = Browser(client)
        for path in ("/", "/jobs/1", "/jobs/2", "/pieces/1", "/readings/1", "/papers/1"):
            browser.open(path)
        browser.open("/look-up?q=wiesen")
        assert browser.page.select("main a[href^='/jobs/']")
    packed = tmp_path / "as it was.sqlite3"
    packed.write_bytes(gzip.decompress((BOOKS / f"{revision}.sqlite3.gz").read_bytes()))
    assert describe(packed) == was
    columns = {
        name: [c for c in one["columns"] if c not in MOVED_LATER.get(name, ())]
        for name, one in was.items()
    }
    assert describe(database, columns) == describe(packed, columns)
    if revision != newest_revision(MIGRATIONS):
        assert list((tmp_path / "laybook-backups").glob("000001-*-before_upgrade"))
