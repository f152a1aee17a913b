"""Over a real connection: answers go out at once, and text is compressed where that helps."""

import gzip
import http.client
import os
import re
import socket
import time
from contextlib import closing, suppress
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from bs4 import BeautifulSoup
from fastapi.testclient import TestClient

from app.web.app import create_app
from app.web.serving import MadeUpBeside, served
from app.web.settings import Settings
from tests.databases import copy_book
from tests.web.shop.test_exports import take_export

COMPRESSED = {"Accept-Encoding": "gzip"}
DRAWING = "/readings/1/profile.svg"


def connect(address: str) -> http.client.HTTPConnection:
    """Open a connection as a browser does."""
    where = urlsplit(address)
    assert where.hostname is not None
    connection = http.client.HTTPConnection(where.hostname, where.port, timeout=20)
    connection.connect()
    return connection


def ask(connection: http.client.HTTPConnection, path: str, **headers: str) -> bytes:
    """Ask for a page and read it whole."""
    connection.request("GET", path, headers=headers)
    with connection.getresponse() as answer:
        assert answer.status == 200
        return answer.read()


def sends_at_once(connection: http.client.HTTPConnection) -> bool:
    """Say whether the accepted end of a connection, in this process, has TCP_NODELAY."""
    for path in Path("/proc/self/fd").iterdir():
        # a copy of anything else would stay open: the browser's driver waits for its pipe to close
        if not (path.is_symlink() and str(path.readlink()).startswith("socket:")):
            continue
        with suppress(OSError), socket.socket(fileno=os.dup(int(path.name))) as end:
            if end.getpeername() == connection.sock.getsockname():
                return end.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY) != 0
    raise AssertionError("the accepted connection was not found")


@pytest.mark.parametrize("host", ["127.0.0.1", "::1"])
def test_an_accepted_connection_to_the_book_sends_each_answer_at_once(app, host):
    with served(app, host) as address, closing(connect(address)) as connection:
        ask(connection, "/help")
        assert sends_at_once(connection)


def test_and_one_to_the_made_up_shop_beside_it(app, monkeypatch):
    monkeypatch.setattr("app.web.serving.make_made_up_app", lambda *_: app)
    beside = MadeUpBeside(lambda _: app, app.state.settings)
    try:
        with closing(connect(beside.open())) as connection:
            ask(connection, "/help")
            assert sends_at_once(connection)
    finally:
        beside.close()


def test_a_page_over_a_kept_connection_is_never_slower_than_over_a_fresh_one(app):
    kept, fresh = [], []
    with served(app) as address, closing(connect(address)) as connection:
        ask(connection, "/help")
        for _ in range(30):
            began = time.perf_counter()
            ask(connection, "/help")
            kept.append(time.perf_counter() - began)
            began = time.perf_counter()
            with closing(connect(address)) as other:
                ask(other, "/help")
            fresh.append(time.perf_counter() - began)
    # an answer that waits for the other side's acknowledgement comes 40 ms late
    assert min(kept) <= min(fresh) + 0.005
    assert sorted(kept)[15] <= sorted(fresh)[15] + 0.01


@pytest.fixture
def answers(client):
    """Ask as a browser that takes compressed answers; gives answer and bytes sent."""

    def ask_raw(path: str, **headers: str):
        with client.stream("GET", path, headers={**COMPRESSED, **headers}) as answer:
            return answer, b"".join(answer.iter_raw())

    return ask_raw


def test_text_over_a_kilobyte_is_compressed_drawings_too(client, answers, take_in, read_line):
    job = take_in()
    read_line(job, "33.5 21 11.5 5.5 / 1.07")
    page = BeautifulSoup(client.get("/").text, "html.parser")
    static = [page.select_one("link[rel=stylesheet]")["href"], page.select_one("script")["src"]]
    for path in ("/", "/help", f"/jobs/{job}", *static, DRAWING):
        answer, sent = answers(path)
        assert answer.headers["content-encoding"] == "gzip", path
        assert answer.headers["vary"] == "Accept-Encoding"
        assert int(answer.headers["content-length"]) == len(sent)
        plain, whole = answers(path, **{"Accept-Encoding": "identity"})
        assert "content-encoding" not in plain.headers
        assert len(gzip.decompress(sent)) == len(whole) > 2 * len(sent)


def test_a_short_text_a_photograph_and_a_paper_to_download_go_as_they_are(
    whole_book, tmp_path, clock
):
    book = copy_book(whole_book, tmp_path / "book")
    with TestClient(
        create_app(Settings(book=book, now=clock)), base_url="http://127.0.0.1"
    ) as client:
        export = take_export(client, **COMPRESSED)
        assert export.content[:2] == b"PK"
        for path in ("/look-up/results?q=zzz", "/photos/1", "/papers/1/paper.pdf"):
            answer = client.get(path, headers=COMPRESSED)
            assert answer.status_code == 200, path
            assert "content-encoding" not in answer.headers, path
            assert int(answer.headers["content-length"]) == len(answer.content)
    assert "content-encoding" not in export.headers
    assert int(export.headers["content-length"]) == len(export.content)


def test_a_drawing_that_the_browser_has_is_not_sent_again(answers, take_in, read_line):
    read_line(take_in(), "33.5 21 11.5 5.5 / 1.07")
    first, _ = answers(DRAWING)
    # The same drawing compressed or not: the tag says so by being weak.
    assert first.headers["etag"].startswith('W/"')
    for tag in (first.headers["etag"], first.headers["etag"].removeprefix("W/")):
        again, sent = answers(DRAWING, **{"If-None-Match": tag})
        assert (again.status_code, sent) == (304, b"")
        assert "content-encoding" not in again.headers
        assert again.headers["etag"] == first.headers["etag"]
        assert again.headers["vary"] == "Accept-Encoding"


def test_head_is_answered_without_a_body_and_the_connection_goes_on(app):
    with served(app) as address, closing(connect(address)) as connection:
        for path in ("/help", "/static/laybook.css"):
            connection.request("HEAD", path, headers=COMPRESSED)
            with connection.getresponse() as answer:
                assert answer.read() == b""
            assert gzip.decompress(ask(connection, path, **COMPRESSED))


def test_only_an_address_that_changes_with_its_file_is_kept_for_ever(client):
    lasting = BeautifulSoup(client.get("/").text, "html.parser").select_one("script")["src"]
    assert "immutable" in client.get(lasting).headers["cache-control"]
    name = lasting.partition("?")[0]
    for other in (name, f"{name}?v=", f"{name}?v=0123456789ab"):
        answer = client.get(other)
        assert answer.content == (Path(__file__).parents[2] / name[1:]).read_bytes()
        assert answer.headers["cache-control"] == "no-cache"


@pytest.mark.parametrize("name", ["n" * 300, "pictures", "%2e%2e%2fpyproject.toml", "%00"])
def test_what_is_no_static_file_is_not_found(client, name):
    assert client.get(f"/static/{name}").status_code == 404


def test_the_screens_letters_come_from_here_and_for_ever(client):
    css = client.get("/static/laybook.css").text
    fonts = re.findall(r'url\("([a-z-]+\.woff2)\?v=([0-9a-f]+)"\)', css)
    assert len(fonts) == 4
    sizes = 0
    for name, version in fonts:
        answer = client.get(f"/static/{name}?v={version}")
        assert answer.headers["content-type"] == "font/woff2"
        assert "immutable" in answer.headers["cache-control"], f"{name} has another fingerprint"
        sizes += len(answer.content)
    assert sizes <= 200_000
    assert "font-src 'self'" in client.get("/").headers["content-security-policy"]
    assert client.get("/static/SourceSans3-Regular.otf").status_code == 404
