"""Every address, looked at: a GET changes nothing, an error page shows nothing of the machine."""

import shutil
import sys
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from app.web.app import create_app
from app.web.settings import Settings
from tests.books import HEADERS, hash_of
from tests.conftest import Browser, Clock
from tests.faults.forms import crawl
from tests.lines import CLOSE_LINE
from tests.store.book.test_opening import bytes_of
from tests.web.routes import addresses_of


@pytest.fixture
def worked(whole_book, tmp_path):
    book = Path(shutil.copytree(whole_book, tmp_path / "worked"))
    app = create_app(Settings(book=book, now=Clock()))
    with TestClient(app, base_url="http://127.0.0.1", headers=HEADERS) as client:
        browser = Browser(client)
        browser.open("/settings/backups")
        browser.send("form[action$=make]")
        yield client


def test_looking_at_every_address_changes_neither_the_book_nor_any_file(worked):
    book = worked.app.state.settings.book
    before, content = bytes_of(book), hash_of(book / "book.sqlite3")
    addresses = addresses_of(worked.app, book)
    assert len(addresses) > 40
    for path in addresses:
        for method in ("GET", "HEAD", "OPTIONS"):
            assert worked.request(method, path).status_code < 500, (method, path)
    assert hash_of(book / "book.sqlite3") == content
    assert bytes_of(book) == before


def test_the_walk_by_links_reaches_every_page_that_takes_no_search(worked):
    pages, _ = crawl(worked)
    assert {"/", "/jobs/1", "/pieces/1", "/customers/1", "/readings/1", "/settings",
            "/settings/backups", "/settings/network", "/papers/1", "/batches/1",
            "/jobs/1/charges", "/jobs/1/photos", "/jobs/1/plan", "/gauges/1/studies/1",
            "/settings/messages"} <= set(pages)  # fmt: skip


def test_other_methods_are_refused(worked):
    for method in ("PUT", "DELETE", "PATCH", "TRACE"):
        assert worked.request(method, "/jobs/1").status_code == 405


def test_no_page_asks_for_anything_from_outside(worked):
    pages, _ = crawl(worked)
    for address, page in pages.items():
        for tag in page.select("[src], link[href], form[action]"):
            target = tag.get("src") or tag.get("href") or tag.get("action")
            assert not target.startswith(("http:", "https:", "//")), (address, target)
        assert not page.select("[style], style, script:not([src])"), address
        assert not [t for t in page.find_all(True) if any(a.startswith("on") for a in t.attrs)]


@pytest.mark.parametrize(
    "path",
    ["/jobs/999", "/jobs/1/papers/none", "/nowhere", "/readings/0/correct", "/static/none.css",
     "/pictures/profile.svg?left=x", "/settings/backups/77", "/look-up?q=%00", "/pieces/²",
     "/drop-off?customer=9999999999999999999", "/jobs/99999999999999999999999"],
)  # fmt: skip
def test_an_error_page_says_what_is_wrong_and_nothing_of_the_machine(worked, path):
    answer = worked.get(path)
    assert answer.status_code in {200, 404, 422}
    for secret in (
        str(worked.app.state.settings.book),
        sys.prefix,
        "Traceback",
        "sqlite",
        "SELECT",
    ):
        assert secret not in answer.text


def test_what_was_typed_as_script_formula_or_template_stays_text_on_every_page(worked):
    evil = "<script>alert(1)</script>\"'><img src=x onerror=alert(2)>{{7*7}}</textarea></svg>"
    browser = Browser(worked)
    browser.open("/drop-off")
    browser.send(
        "main form", do="take_in", customer="new", customer_name=evil, customer_address=evil,
        customer_plays=evil, customer_notes=evil, piece="new", piece_maker=evil, piece_model=evil,
        piece_marking=evil, request=evil, condition_notes=evil, condition_more=evil[:40],
        instrument_kind="sax_alto", instrument_maker=evil, instrument_model=evil,
    )  # fmt: skip
    job = browser.path
    for role in ("as_received", "as_returned"):
        browser.open(f"{job}/readings?role={role}")
        browser.send("form[data-grid]", line=CLOSE_LINE, note=evil)
    browser.open(job)
    browser.send("form[action$=passes]", kind="tilted", abrasive=evil[:60], pass_note=evil[:60])
    browser.open(job)
    browser.send("form[action$=notes]", note=evil)
    browser.open(f"{job}/papers/return_card")
    browser.send("main form")
    number = job.rsplit("/", 1)[1]
    piece = "/pieces/3"
    for address in (job, "/", "/customers", "/customers/3", piece, f"{job}/edit", f"{piece}/edit",
                    f"{job}/papers/intake_slip", f"{job}/papers/return_card", "/papers/3",
                    f"{piece}/owner?find=script", "/look-up?q=script", f"/look-up?q={evil}",
                    "/look-up/results?q=script", "/drop-off/customers?find=script",
                    f"/jobs/{number}/readings"):  # fmt: skip
        text = worked.get(address).text
        assert "<script>alert" not in text, address
        assert "<img src=x" not in text, address
        assert "49" not in text or "{{7*7}}" in text or "7*7" not in text, address
    pictures = []
    for address in (piece, f"{job}/papers/return_card"):
        browser.open(address)
        pictures += [str(one["src"]) for one in browser.page.select("main img")]
    assert len(pictures) >= 2
    for picture in pictures:
        svg = worked.get(picture).text
        assert "<svg" in svg, picture
        assert "<script" not in svg
        assert "onerror" not in svg
