"""On the network nothing is shown without the passphrase, and nothing typed is lost for it."""

import http.client
import shutil
import socket
import sqlite3
import threading
from contextlib import closing
from datetime import timedelta

import pytest
from bs4 import BeautifulSoup
from fastapi.testclient import TestClient
from itsdangerous import URLSafeTimedSerializer

from app.store.book.passphrase import find_weakness, keep_passphrase, read_passphrase
from app.web.app import create_app
from app.web.commands import main
from app.web.gate import Throttle
from app.web.settings import Settings
from tests.books import HEADERS, hash_of
from tests.conftest import NOON, Browser, Clock
from tests.faults.forms import crawl
from tests.faults.servers import DidNotStart, Server
from tests.web.routes import addresses_of

WORDS = "brass rain over two kettles"


@pytest.fixture(scope="session")
def locked_book(filled_book, tmp_path_factory):
    """Give a filled book with a passphrase, once: hashing it is slow on purpose."""
    folder = tmp_path_factory.mktemp("locked") / "book"
    shutil.copytree(filled_book, folder)
    keep_passphrase(folder, WORDS)
    return folder


@pytest.fixture
def gated(locked_book, tmp_path):
    """Give a client of a book on the network, and its clock."""
    book, clock = tmp_path / "gated", Clock()
    shutil.copytree(locked_book, book)
    app = create_app(Settings(book=book, now=clock, needs_login=True))
    with TestClient(app, base_url="http://127.0.0.1", headers=HEADERS) as client:
        yield client


@pytest.fixture
def stranger(gated):
    """Give a browser that has not logged in."""
    return Browser(gated)


@pytest.fixture
def guest(stranger):
    """Give a browser that has logged in."""
    stranger.open("/login")
    stranger.send("main form", passphrase=WORDS)
    return stranger


def test_no_route_answers_a_stranger_but_the_login_page_and_the_style(gated):
    asked = 0
    for path in addresses_of(gated.app, gated.app.state.settings.book):
        answer = gated.get(path, follow_redirects=False)
        asked += 1
        if path.startswith(("/static/", "/login")):
            assert answer.status_code == 200, path
        elif path.startswith("/api/"):
            assert answer.status_code == 401, path
        else:
            assert (answer.status_code, answer.headers["location"]) == (303, "/login"), path
            assert answer.text == ""
    assert asked > 30


def test_no_post_of_a_stranger_changes_anything(gated):
    book = gated.app.state.settings.book
    before = hash_of(book / "book.sqlite3")
    for path in addresses_of(gated.app, book, "POST"):
        if path != "/login":
            answer = gated.post(path, data={"note": "from outside"}, follow_redirects=False)
            assert answer.status_code in {401, 303}, path
            assert "Ottilie" not in answer.text
    assert hash_of(book / "book.sqlite3") == before


def test_the_login_opens_the_book_and_the_logout_closes_it(guest):
    guest.open("/jobs/1")
    assert "Ottilie Wiesenrauch" in guest.text
    guest.open("/settings/network")
    guest.send("form[action='/logout']")
    guest.open("/jobs/1")
    assert guest.path == "/login"


def test_the_cookie_is_out_of_reach_of_scripts_and_other_sites(stranger):
    answer = stranger.client.post("/login", data={"passphrase": WORDS}, follow_redirects=False)
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    assert "max-age=2592000" in cookie
    assert WORDS not in cookie


def test_a_cookie_forged_old_or_of_an_earlier_passphrase_does_not_open(guest, monkeypatch):
    book = guest.client.app.state.settings.book
    ((name, good),) = guest.client.cookies.items()
    for forged in ("open", good[:-1], good.replace(".", "x", 1),
                   URLSafeTimedSerializer("another key", salt="login").dumps("open")):  # fmt: skip
        guest.client.cookies.clear()
        guest.client.cookies.set(name, forged)
        guest.open("/")
        assert guest.path == "/login"
    guest.client.cookies.clear()
    guest.client.cookies.set(name, good)
    guest.open("/")
    assert guest.path == "/"
    with monkeypatch.context() as later:
        import time

        now = time.time()
        later.setattr("itsdangerous.timed.time.time", lambda: now + 31 * 86400)
        guest.open("/")
        assert guest.path == "/login"
    keep_passphrase(book, "quite other words now")
    guest.open("/")
    assert guest.path == "/login"


def test_guesses_are_slowed_down_and_the_right_one_must_wait_too(stranger):
    clock = stranger.client.app.state.settings.now
    stranger.open("/login")
    for _ in range(5):
        stranger.send("main form", status=422, passphrase="a wrong guess")  # noqa: S106
        assert "not the passphrase" in stranger.text
        assert stranger.page.select_one("[name=passphrase]").get("value", "") == ""
    stranger.send("main form", status=429, passphrase=WORDS)
    assert "Wait 15 minutes" in stranger.text
    clock.at += timedelta(minutes=16)
    stranger.send("main form", passphrase=WORDS)
    assert stranger.path == "/"


def test_a_network_full_of_guessers_does_not_lock_the_machine_s_own_browser_out():
    throttle = Throttle()
    for number in range(60):
        assert throttle.reserve(f"10.0.0.{number}", NOON) == 0
    assert [throttle.reserve("127.0.0.1", NOON) for _ in range(5)] == [0] * 5
    # An address that has guessed nothing yet keeps two guesses of its own, and no more.
    assert [throttle.reserve("10.0.0.99", NOON) > 0 for _ in range(3)] == [False, False, True]
    assert throttle.reserve("10.0.0.99", NOON + timedelta(minutes=16)) == 0


def test_many_guesses_at_once_are_no_more_than_one_after_the_other():
    throttle, let_in = Throttle(), []
    together = threading.Barrier(30)

    def guess() -> None:
        together.wait()
        let_in.append(throttle.reserve("10.0.0.7", NOON) == 0)

    threads = [threading.Thread(target=guess) for _ in range(30)]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert sum(let_in) == 5


def test_one_machine_of_ipv6_has_one_count_whatever_address_it_takes():
    throttle = Throttle()
    waits = [throttle.reserve(f"2001:db8:1:2::{number:x}", NOON) for number in range(8)]
    assert waits[:5] == [0] * 5
    assert all(waits[5:])
    assert throttle.reserve("2001:db8:1:3::1", NOON) == 0


def test_a_cookie_is_void_after_its_logout_and_others_stay(guest):
    ((name, first),) = guest.client.cookies.items()
    guest.client.cookies.clear()
    guest.open("/login")
    guest.send("main form", passphrase=WORDS)
    second = guest.client.cookies.get(name)
    guest.client.post("/logout")
    for cookie, path in ((second, "/login"), (first, "/")):
        guest.client.cookies.clear()
        guest.client.cookies.set(name, cookie)
        guest.open("/")
        assert guest.path == path


def test_every_form_comes_back_at_the_login_with_everything_typed(guest):
    _, places = crawl(guest.client)
    guest.client.cookies.clear()
    seen = set()
    for place in places:
        if place.action.startswith(("/login", "/logout")):
            continue
        seen.add(place.kind)
        typed = [
            (name, (value or "12.5 <typed>"))
            for name, kind, value in place.fields
            if kind not in {"button", "submit", "file", "unticked"}
        ]
        parts = [(name, (None, value)) for name, value in typed]
        parts += [
            (name, ("column.txt", b"12.5 0.31")) for name, kind, _ in place.fields if kind == "file"
        ]
        answer = guest.client.post(
            place.action, files=parts or [("x", (None, ""))], follow_redirects=False
        )
        assert answer.status_code == 401, place.action
        page = BeautifulSoup(answer.text, "html.parser")
        held = {(one["name"], one.get("value", "")) for one in page.select("input[type=hidden]")}
        # A browser sends line ends as CR LF; what matters is that no letter is lost.
        assert {(f"again_{name}", value) for name, value in typed} <= held, place.action
    assert len(seen) > 25
    assert any("readings" in kind for kind in seen)
    assert any("photos" in kind for kind in seen)
    assert "/notebook" in seen


def test_a_form_that_cannot_be_read_is_met_by_the_login_all_the_same(gated):
    answer = gated.post(
        "/jobs/1/notes",
        content=b"--x\r\nnonsense",
        headers={"Content-Type": "multipart/form-data; boundary=x"},
    )
    assert answer.status_code == 401


def test_the_made_up_shop_is_opened_only_from_the_machine_itself(guest):
    guest.open("/first-start")
    assert not guest.page.select("form[action='/first-start/made-up']")  # "testclient" is far away
    guest.client.post("/first-start/made-up")
    assert guest.client.app.state.made_up_beside.address == ""


def test_a_form_sent_after_the_login_ran_out_comes_back_after_the_login(guest):
    guest.open("/jobs/1")
    guest.client.cookies.clear()
    guest.send("form[action$=notes]", status=401, note="typed for an hour\nand <more>")
    assert "What you typed is kept" in guest.text
    guest.send("main form", status=422, passphrase="wrong the first time")  # noqa: S106
    guest.send("main form", passphrase=WORDS)
    assert "ready to be sent" in guest.text
    guest.send("main form")
    assert guest.path == "/jobs/1"
    assert "typed for an hour and <more>" in guest.text


def test_after_the_login_nobody_is_led_to_another_site(stranger):
    for path in ("//evil.example/x", "https://evil.example", "/\\evil.example"):
        stranger.client.cookies.clear()
        answer = stranger.client.post(
            "/login", data={"passphrase": WORDS, "action": path}, follow_redirects=False
        )
        assert (answer.status_code, answer.headers["location"]) == (303, "/")


def test_the_login_page_says_that_plain_http_can_be_read(stranger):
    stranger.open("/login")
    assert "can read the passphrase" in stranger.text


def test_a_passphrase_is_set_and_changed_on_the_settings_page(browser, book):
    browser.open("/settings/network")
    browser.send("main form", status=422, passphrase="short", repeated="short")  # noqa: S106
    assert "at least 12 characters" in browser.text
    browser.send("main form", status=422, passphrase=WORDS, repeated="other")
    assert "not the same" in browser.text
    browser.send("main form", passphrase=WORDS, repeated=WORDS)
    assert "The passphrase is kept" in browser.text
    first = read_passphrase(book)
    assert WORDS not in (book / "passphrase.json").read_text()
    assert "$argon2id$" in first.hashed
    assert (book / "passphrase.json").stat().st_mode & 0o077 == 0
    browser.send("main form", status=422, present="x", passphrase=WORDS + "!", repeated=WORDS + "!")
    assert "not the present passphrase" in browser.text
    browser.send("main form", present=WORDS, passphrase=WORDS + "!", repeated=WORDS + "!")
    assert read_passphrase(book).key != first.key


@pytest.mark.parametrize("words", ["", "elevenchars", "aaaaaaaaaaaaaaaa", "x" * 501])
def test_weak_words_are_refused_with_a_reason(words):
    assert find_weakness(words)


def test_without_a_passphrase_it_does_not_listen_on_the_network(worked_book, capsys):
    for host in ("0.0.0.0", "::"):  # noqa: S104
        assert main(["serve", "--host", host, "--book", str(worked_book), "--port", "0"]) == 1
        assert "needs a passphrase" in capsys.readouterr().err
    assert main(["serve", "--host", "no.such.name.invalid", "--book", str(worked_book)]) == 1
    assert "no address of this machine" in capsys.readouterr().err


def own_address() -> str:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        try:
            asking.connect(("192.0.2.1", 9))
        except OSError:
            pytest.skip("this machine has no network")
        return asking.getsockname()[0]


def test_on_the_network_a_server_asks_for_the_passphrase(locked_book, tmp_path):
    address, book = own_address(), tmp_path / "book"
    shutil.copytree(locked_book, book)
    with Server(book, more=["--host", "0.0.0.0"]) as server:  # noqa: S104

        def ask(host: str) -> int:
            connection = http.client.HTTPConnection(address, server.port, timeout=30)
            connection.putrequest("GET", "/jobs/1", skip_host=True)
            connection.putheader("Host", host)
            connection.endheaders()
            with closing(connection):
                return connection.getresponse().status

        assert ask(f"{address}:{server.port}") == 303
        assert ask(socket.gethostname()) == 303
        assert ask("evil.example") == 400
        assert ask("10.255.255.1") == 400
    with Server(book) as server, pytest.raises(OSError, match="refused"):
        http.client.HTTPConnection(address, server.port, timeout=30).request("GET", "/")


def test_a_damaged_passphrase_file_keeps_the_network_out(locked_book, tmp_path):
    book = tmp_path / "book"
    shutil.copytree(locked_book, book)
    (book / "passphrase.json").write_text("{")
    with pytest.raises(DidNotStart, match="Set the passphrase again"):
        Server(book, more=["--host", "0.0.0.0"]).wait()  # noqa: S104


def test_the_passphrase_is_in_no_backup(gated):
    book = gated.app.state.settings.book
    Browser(gated)
    from app.store.book.backup import make_backup
    from app.store.book.upkeep import read_upkeep

    made = make_backup(book, read_upkeep(book, NOON), "by_hand", NOON)
    assert not list(made.folder.rglob("passphrase*"))
    with closing(sqlite3.connect(made.database)) as kept:
        assert "argon2" not in "".join(kept.iterdump())
