"""Two tabs, two benches, two servers: conflicts are shown, and nobody's words are lost."""

import random
import threading
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack

import pytest

from app.store.book.upkeep import UPKEEP_NAME, keep_upkeep
from app.web.app import open_book
from app.web.settings import Settings
from tests.books import content_of, rows_of
from tests.conftest import NOON
from tests.databases import lay_on_server
from tests.faults.kill_rounds import Ledger, drop_off, find_faults, on_job, send
from tests.faults.servers import Server
from tests.faults.test_unwritable import carried, opened, sent

# Every form that changes a record: the page, the field, what one tab and what the other types.
EDITS = {
    "job": ("/jobs/1/edit", "agreed_work", "close it", "open it"),
    "customer": ("/customers/1/edit", "notes", "left-handed", "plays on Sundays"),
    "piece": ("/pieces/1/edit", "telling_marks", "a notch", "a scratch"),
    "shop": ("/settings", "care_text", "Swab it.", "Dry it."),
}


@pytest.mark.parametrize("name", EDITS)
def test_the_second_of_two_tabs_sees_both_versions_and_can_keep_either(worked_book, name):
    path, field, first, second = EDITS[name]
    with opened(worked_book) as browser:
        browser.open(path)
        stale = sent(browser, "main form", {field: second})
        browser.send("main form", **{field: first})
        answer = browser.client.post(path, data=stale)
        browser._keep(answer, 409)
        assert first in browser.text
        assert second in browser.text
        # Leaving it keeps the first; pressing on keeps the second and the first in its history.
        once = carried(browser)
        browser.open(path)
        shown = sent(browser, "main form", {})
        assert shown[field] == [first]
        browser._keep(browser.client.post(path, data=once), 200)
        browser.open(path)
        assert sent(browser, "main form", {})[field] == [second]
    kept = rows_of(worked_book / "book.sqlite3", "SELECT before FROM revision")
    assert any(first in str(before) for (before,) in kept)


def test_ticks_changed_in_another_tab_are_a_conflict_too(worked_book):
    with opened(worked_book) as browser:
        browser.open("/jobs/1/edit")
        stale = sent(browser, "main form", {"came_with": ["reed"]})
        browser.send("main form", came_with=["cap", "ligature"])
        answer = browser.client.post("/jobs/1/edit", data=stale)
        browser._keep(answer, 409)
        assert "cap; ligature" in browser.text
        assert "reed" in browser.text
        browser._keep(browser.client.post("/jobs/1/edit", data=carried(browser)), 200)
        browser.open("/jobs/1/edit")
        assert sent(browser, "main form", {})["came_with"] == ["reed"]


def test_a_job_moved_in_one_tab_is_not_moved_by_the_other_tab_s_old_button(worked_book):
    with opened(worked_book) as browser:
        browser.open("/jobs/1")
        stale = sent(browser, "form.with-button", {"stage": "on_the_bench"})
        browser.send("form.with-button", stage="returned")
        browser._keep(browser.client.post("/jobs/1/stage", data=stale), 409)
        assert "returned" in browser.text
        assert "on the bench" in browser.text
        back = browser.page.select_one("main a.button")["href"]
        once = carried(browser)
        browser.open(back)
        assert browser.page.select_one(".stages [aria-current=step]").text == "returned"
        browser._keep(browser.client.post("/jobs/1/stage", data=once), 200)
        assert browser.page.select_one(".stages [aria-current=step]").text == "on the bench"


def test_a_pass_struck_out_in_two_tabs_is_struck_out(worked_book):
    with opened(worked_book) as browser:
        browser.open("/jobs/1")
        form = next(one for one in browser.page.select("form") if "strike" in one["action"])
        typed = {one["name"]: one.get("value", "") for one in form.select("[name]")}
        for _ in range(2):
            browser.client.post(form["action"], data=typed)
    struck = rows_of(worked_book / "book.sqlite3", "SELECT struck_at FROM bench_pass WHERE id = 1")
    assert struck != [(None,)]


def test_a_correction_made_in_two_tabs_is_made_once_and_the_second_is_told(worked_book):
    with opened(worked_book) as browser:
        browser.open("/readings/2/correct")
        first = sent(browser, "form[data-grid]", {"tip": "1.11", "why": "misread"})
        browser.open("/readings/2/correct")
        second = sent(browser, "form[data-grid]", {"tip": "1.12", "why": "misread again"})
        browser._keep(browser.client.post("/readings/2/correct", data=first), 200)
        browser._keep(browser.client.post("/readings/2/correct", data=second), 422)
        assert "corrected already" in browser.text
        assert sent(browser, "form[data-grid]", {})["tip"] == ["1.12"]


def test_two_servers_on_one_book_lose_nothing_and_give_every_job_its_own_number(tmp_path):
    """Both also start at the same moment on a book that neither has made yet."""
    book, ledger = lay_on_server(tmp_path / "book"), Ledger()
    servers = [Server(book), Server(book)]
    with ExitStack() as ends:
        for server in servers:
            ends.callback(server.stop)
        for server in servers:
            server.wait()
        _write_from_both(servers, ledger)
    assert ledger.refused == []
    assert len(ledger.acknowledged) == 72
    assert find_faults(book / "book.sqlite3", ledger) == []
    shops = content_of(book / "book.sqlite3")
    assert len(shops["shop"]) == 1
    numbers = Counter(ledger.jobs)
    assert sorted(numbers) == list(range(1, len(numbers) + 1))


def _write_from_both(servers: list[Server], ledger: Ledger) -> None:
    """Let three clients of each server write, all at once."""

    def work(server: Server, name: str) -> None:
        chance = random.Random(name)  # noqa: S311 - a repeatable load, not a secret
        for number in range(12):
            token = f"{name}-{number}"
            jobs = list(ledger.jobs)
            kind = chance.choice(["drop-off", "readings", "passes", "notes", "papers/return_card"])
            act = drop_off(token) if kind == "drop-off" or not jobs else on_job(
                kind, chance.choice(jobs), token)  # fmt: skip
            assert send(server, act, ledger)

    threads = [
        threading.Thread(target=work, args=(server, f"s{at}c{client}"))
        for at, server in enumerate(servers)
        for client in range(3)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()


@pytest.mark.long
def test_the_same_form_sent_to_two_servers_at_once_makes_one_record(worked_book):
    with Server(worked_book) as one, Server(worked_book) as other:
        answers = []

        def press(server: Server) -> None:
            answers.append(server.post("/jobs/1/notes", {"note": "pressed", "token": "same"}))

        for _ in range(5):
            threads = [threading.Thread(target=press, args=(server,)) for server in (one, other)]
            for thread in threads:
                thread.start()
            for thread in threads:
                thread.join()
    assert {answer.status for answer in answers} == {303}
    found = rows_of(worked_book / "book.sqlite3", "SELECT 1 FROM event WHERE words = 'pressed'")
    assert len(found) == 1


def test_benches_that_open_a_book_at_once_name_it_once(book, monkeypatch):
    """Each wrote the note beside the book under the same passing name, and one of them fell."""
    (book / UPKEEP_NAME).unlink()
    kept = []

    def keep_slowly(*args):
        kept.append(args)
        time.sleep(0.3)
        keep_upkeep(*args)

    monkeypatch.setattr("app.web.app.keep_upkeep", keep_slowly)
    settings = Settings(book=book, now=lambda: NOON)
    with ThreadPoolExecutor(3) as benches:
        for bench in [benches.submit(open_book, settings) for _ in range(3)]:
            bench.result().close()
    assert len(kept) == 1
