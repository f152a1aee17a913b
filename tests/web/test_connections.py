"""Connections end when nothing comes over them, and many of them keep nobody from the book."""

import http.client
import socket
import time
from contextlib import ExitStack, closing, suppress
from urllib.parse import urlsplit

import pytest
from fastapi.responses import Response

from app.web import connections
from app.web.serving import make_server, served

HEAD = "POST /jobs/1/notes HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 500000\r\n"


@pytest.fixture
def address(app, monkeypatch):
    """Serve the book with half a second's patience; gives host and port."""
    monkeypatch.setattr(connections, "PATIENCE_S", 0.5)
    with served(app) as opened:
        where = urlsplit(opened)
        yield where.hostname, where.port


def seconds_until_closed(link: socket.socket, drip: bytes = b"", most: float = 5.0) -> float:
    """Wait until the other side ends a connection, sending a byte ten times a second if asked."""
    began = time.monotonic()
    link.settimeout(0.1)
    while time.monotonic() - began < most:
        try:
            if drip:
                link.send(drip)
            if not link.recv(4096):
                break
        except TimeoutError:
            continue
        except OSError:
            break
    return time.monotonic() - began


def test_patience_is_twenty_seconds_between_requests_too(app):
    assert connections.PATIENCE_S == 20
    assert make_server(app).config.timeout_keep_alive == 20


@pytest.mark.parametrize(
    ("sent", "drip"),
    [
        (b"", b""),
        (b"GET / HTTP/1.1\r\nHost: 127", b""),
        (b"GET / HTTP/1.1\r\nX: ", b"x"),
        (HEAD.encode() + b"\r\n", b"x"),
        (HEAD.encode() + b"Content-Type: application/x-www-form-urlencoded\r\n\r\nnote=", b"x"),
    ],
    ids=["silent", "half a header", "a slow header", "a slow body", "a slow form"],
)
def test_what_is_never_whole_is_ended(capfd, address, sent, drip):
    with closing(socket.create_connection(address)) as link:
        link.sendall(sent)
        assert 0.4 < seconds_until_closed(link, drip) < 3
    time.sleep(0.2)  # what it says, it says at once
    assert capfd.readouterr().err == ""


def test_a_large_form_that_keeps_coming_is_taken(address):
    note = b"note=" + b"x" * 59_995
    with closing(socket.create_connection(address, timeout=10)) as link:
        link.sendall(HEAD.replace("500000", str(len(note))).encode() + b"\r\n")
        for at in range(0, len(note), 4000):
            link.sendall(note[at : at + 4000])
            time.sleep(0.1)  # one and a half seconds together: 40 kB a second
        assert link.recv(12).startswith(b"HTTP/1.1 4")  # there is no such job


def test_an_answer_that_nobody_takes_is_ended(app, address):
    app.get("/large")(lambda: Response(b"x" * 30_000_000, media_type="image/png"))
    with closing(socket.create_connection(address)) as link:
        link.sendall(b"GET /large HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
        time.sleep(2)
        link.settimeout(5)
        taken = 0
        with suppress(ConnectionResetError):
            while part := link.recv(1 << 20):
                taken += len(part)
        assert 0 < taken < 30_000_000


def test_the_last_to_come_is_heard_and_a_browser_s_kept_connection_too(app, monkeypatch):
    monkeypatch.setattr("app.web.serving.how_many_connections", lambda: 8)
    with served(app) as opened, ExitStack() as stack:
        where = urlsplit(opened)
        browser = stack.enter_context(
            closing(http.client.HTTPConnection(where.hostname, where.port, timeout=10))
        )
        browser.request("GET", "/help")
        browser.getresponse().read()
        kept = browser.sock
        for _ in range(50):
            silent = socket.create_connection((where.hostname, where.port))
            stack.callback(silent.close)
        browser.request("GET", "/help")
        assert browser.getresponse().status == 200
        assert browser.sock is kept
        newest = stack.enter_context(
            closing(http.client.HTTPConnection(where.hostname, where.port, timeout=10))
        )
        newest.request("GET", "/help")
        assert newest.getresponse().status == 200
