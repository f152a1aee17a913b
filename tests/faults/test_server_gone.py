"""The database server stopped and killed under writing benches: 503 in words, then nothing lost."""

import threading
import time

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import create_engine, select

from app.store.postgresql.addresses import keep_address
from app.store.problems import BookProblem
from app.store.tables import Event
from app.web.app import create_app
from app.web.settings import Settings
from tests.books import HEADERS
from tests.conftest import Browser, Clock
from tests.databases import MAKE, NEEDED
from tests.faults.clusters import Cluster, find_binaries


@pytest.fixture
def cluster():
    """Give a running server of our own."""
    binaries = find_binaries()
    if binaries is None:
        (pytest.fail if NEEDED else pytest.skip)("PostgreSQL's programs are not installed")
    made = Cluster(binaries)
    made.start()
    yield made
    made.remove()


@pytest.fixture
def there(cluster, tmp_path):
    """Give a book on that server, with one job in it."""
    engine = create_engine(cluster.address, isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.exec_driver_sql(f"CREATE DATABASE laybook {MAKE}")
    engine.dispose()
    book = tmp_path / "book"
    book.mkdir()
    keep_address(book, cluster.address.set(database="laybook"))
    return book


def take_in(browser):
    browser.open("/drop-off")
    browser.send("main form", do="take_in", customer="new", customer_name="Ottilie Wiesenrauch",
                 piece="new", piece_marking="N4", piece_instrument_kind="clarinet_bb",
                 instrument_kind="clarinet_bb")  # fmt: skip


@pytest.mark.parametrize("how", ["fast", "immediate"])
def test_a_server_stopped_under_writers_is_said_and_every_act_is_there_once(cluster, there, how):
    """Three times stopped and started; an act that was not acknowledged is sent again."""
    app = create_app(Settings(book=there, now=Clock()))
    acknowledged, refused, others = [], [], []
    stop = threading.Event()
    with TestClient(app, base_url="http://127.0.0.1", headers=HEADERS) as client:
        take_in(Browser(client))

        def write(who: int) -> None:
            at = 0
            while not stop.is_set():
                at += 1
                typed = {"note": f"act {who}-{at}", "token": f"act-{who}-{at}"}
                while True:
                    answer = client.post("/jobs/1/notes", data=typed, follow_redirects=False)
                    if answer.status_code == 303:
                        break
                    if answer.status_code != 503 or typed["note"] not in answer.text:
                        others.append((answer.status_code, answer.text[:300]))
                        return
                    refused.append(answer.text)
                    time.sleep(0.05)
                acknowledged.append(typed["note"])

        threads = [threading.Thread(target=write, args=(who,)) for who in range(4)]
        for thread in threads:
            thread.start()
        for _ in range(3):
            before = len(acknowledged)
            while len(acknowledged) < before + 20 and not others:
                time.sleep(0.01)
            cluster.stop(how)
            page = client.get("/jobs/1")
            assert page.status_code == 503
            assert "The database can’t be reached" in page.text
            cluster.start()
        stop.set()
        for thread in threads:
            thread.join()
        assert others == []
        assert any("The database can’t be reached" in one for one in refused)
        with app.state.sessions.read() as session:
            kept = sorted(session.scalars(select(Event.words).where(Event.words.like("act %"))))
        assert kept == sorted(acknowledged)
        assert len(kept) >= 60


def test_a_bench_starts_only_where_its_server_answers_and_closes_without_it(cluster, there):
    app = create_app(Settings(book=there, now=Clock()))
    with TestClient(app, base_url="http://127.0.0.1", headers=HEADERS) as client:
        take_in(Browser(client))
        cluster.stop("fast")

    with pytest.raises(
        BookProblem, match=r"can't be opened: (.|\n)*Nothing in it has been changed"
    ):
        create_app(Settings(book=there, now=Clock()))
    cluster.start()
    app = create_app(Settings(book=there, now=Clock()))
    with TestClient(app, base_url="http://127.0.0.1", headers=HEADERS) as client:
        assert client.get("/jobs/1").status_code == 200
