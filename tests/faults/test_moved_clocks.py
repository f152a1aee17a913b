"""The clock moves under the running program: over midnight, over summer time, a day back.

Pages and acts are tried on a clock that the test sets; then once on a server of its own process
under Debian's `faketime`, whose wall clock is moved from outside while it runs.
"""

import os
import re
import shutil
import subprocess
import sys
import time
from contextlib import contextmanager
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from app.web.app import create_app
from app.web.settings import Settings
from app.web.shop.backups import Watch
from tests.books import HEADERS, hash_of, rows_of
from tests.conftest import NOON, Browser, Clock
from tests.faults.forms import crawl
from tests.faults.servers import Server
from tests.lines import CLOSE_LINE

ROOT = Path(__file__).resolve().parents[2]
SHIFTING = "<+01>-1<+02>,M3.5.0,M10.5.0/3"  # summer time from March's last Sunday to October's
FAR_WEST, FAR_EAST = "<-11>11", "<+14>-14"
DATED = "form[action$=passes]:has([name=done_on])"
BELOW_NOTHING = re.compile(r"[-−]\d+ (second|minute|hour|day|week|month|year)s?\b")


@contextmanager
def set_up(book: Path, at: datetime):
    """Open a book as a browser does, at a moment; gives the browser and the clock."""
    clock = Clock()
    clock.at = at
    app = create_app(Settings(book=book, now=clock))
    with TestClient(app, base_url="http://127.0.0.1", headers=HEADERS) as client:
        yield Browser(client), clock


@pytest.fixture
def live_at(monkeypatch):
    """Let the process live in a time zone; gives a way to name it."""

    def settle(zone: str) -> None:
        monkeypatch.setenv("TZ", zone)
        time.tzset()

    yield settle
    monkeypatch.undo()
    time.tzset()


def day_shown(browser: Browser, job: int = 1) -> date:
    """Read the day that a job's page offers for a pass."""
    return date.fromisoformat(browser.open(f"/jobs/{job}").select_one("[name=done_on]")["value"])


@pytest.mark.long
@pytest.mark.parametrize("back", [timedelta(days=1), timedelta(days=400)], ids=["day", "year"])
def test_a_clock_set_back_breaks_no_page_and_nothing_is_younger_than_nothing(
    whole_book, tmp_path, back
):
    book = Path(shutil.copytree(whole_book, tmp_path / "book"))
    with set_up(book, NOON - back) as (browser, _):
        pages, _ = crawl(browser.client)
        assert len(pages) > 40
        for address, page in pages.items():
            assert not BELOW_NOTHING.search(page.get_text(" ")), address
        browser.open("/glance")
        numbers = [cell.text for cell in browser.page.select("td.n")]
        assert numbers
        assert not [text for text in numbers if text.startswith(("-", "−"))]


def test_after_the_clock_was_set_back_everything_typed_is_kept(worked_book):
    database, before_it = worked_book / "book.sqlite3", {"pass_note": "before it"}
    with set_up(worked_book, NOON) as (browser, clock):
        browser.open("/jobs/1")
        stale = browser.page  # stands open, with the day it had, while the clock is set back
        clock.pass_days(-1)
        browser.open("/jobs/1")
        browser.send("form[action$=passes]", kind="flat", abrasive="dry paper", grit="400")
        assert "dry paper" in browser.text
        browser.open("/jobs/1/readings?role=at_the_bench")
        browser.send("form[data-grid]", line=CLOSE_LINE)
        assert browser.path == "/jobs/1"
        browser.open("/jobs/1/papers/return_card")
        browser.send("main form")
        assert browser.path.startswith("/papers/")
        before = hash_of(database)
        browser.page = stale
        browser.send(DATED, status=422, kind="tilted", **before_it)
        assert "future" in browser.text
        typed = browser.page.select_one("[name=pass_note]")
        assert typed["value"] == "before it"
        assert hash_of(database) == before
        clock.pass_days(1)
        browser.send(DATED)
        assert rows_of(database, "SELECT count(*) FROM bench_pass WHERE note = 'before it'") == [
            (1,)
        ]


@pytest.mark.parametrize("zone", [FAR_WEST, FAR_EAST, SHIFTING])
def test_today_is_the_bench_s_day_on_both_sides_of_its_midnight(worked_book, live_at, zone):
    live_at(zone)
    last_minute = datetime(2027, 3, 3, 23, 59, 30).astimezone()
    with set_up(worked_book, last_minute.astimezone(UTC)) as (browser, clock):
        browser.open("/jobs/1/edit")
        browser.send("main form", wanted_by="2027-03-03")
        browser.send("form.with-button", stage="on_the_bench")
        assert day_shown(browser) == date(2027, 3, 3)
        assert "today" in browser.text
        browser.open("/jobs/1/readings?role=at_the_bench")
        clock.at += timedelta(minutes=1)
        browser.send("form[data-grid]", line=CLOSE_LINE)  # opened the day before
        assert day_shown(browser) == date(2027, 3, 4)
        assert "1 day overdue" in browser.text
        days = rows_of(worked_book / "book.sqlite3",
                       "SELECT taken_on FROM reading_set ORDER BY id DESC LIMIT 1")  # fmt: skip
        assert str(days[0][0]) == "2027-03-03"


@pytest.mark.parametrize("zone", [FAR_WEST, FAR_EAST])
def test_what_is_written_down_at_a_moment_bears_the_bench_s_day(loaded_copy, live_at, zone):
    live_at(zone)
    early_or_late = datetime(2027, 3, 3, 9 if zone == FAR_EAST else 22).astimezone()
    with set_up(loaded_copy, early_or_late.astimezone(UTC)) as (browser, _):
        browser.open("/drop-off")
        service = browser.page.select_one("[name=service]")["value"]
        browser.send("main form", do="take_in", customer="new", customer_name="Ottilie Wiesenrauch",
                     piece="new", piece_marking="N4", service=service)  # fmt: skip
        pages = [f"{browser.path}/charges"]
        for path, field in (("/facings/1", "name"), ("/gauges/1", "label"), ("/batches/1", "name")):
            browser.open(f"{path}/edit")
            browser.send("main form", **{field: "seen to"})
            pages.append(path)
        browser.send("form[action$='/leave']", do="leave")
        for page in pages:
            browser.open(page)
            assert "3 March 2027" in browser.text
            assert not re.search(r"[24] March 2027", browser.text)


@pytest.mark.parametrize(
    "change", [datetime(2027, 3, 28, 1, tzinfo=UTC), datetime(2027, 10, 31, 1, tzinfo=UTC)],
    ids=["spring", "autumn"],
)  # fmt: skip
def test_over_a_change_of_summer_time_days_are_right_and_a_backup_is_made_each_day(
    worked_book, live_at, change
):
    live_at(SHIFTING)
    start = change - timedelta(hours=30)
    with set_up(worked_book, start) as (browser, clock):
        watch = Watch(browser.client.app.state.settings)
        for half_hours in range(2 * 60):
            clock.at = start + timedelta(minutes=30 * half_hours)
            watch.look()
            assert watch.fault() == ""
            if half_hours % 4 == 0:
                assert day_shown(browser) == clock.at.astimezone().date()
        made = sorted(one.name for one in (worked_book / "laybook-backups").glob("0*"))
        assert len(made) == 3
        assert len({name[7:17] for name in made}) == 3  # a day each
        browser.open("/settings/backups")
        assert len(browser.page.select("main .line-link")) == 3


# --- a server of its own process, its clock moved from outside

LIBRARY = next(iter(Path("/usr/lib").glob("*/faketime/libfaketime.so.1")), None)
# As `python -m app`, but that it looks every half second whether a backup is due.
PROGRAM = """
from app.web.shop import backups
backups.LOOK_EVERY_S = 0.5
from app.__main__ import run
raise SystemExit(run())
"""


class MovedClock:
    """The wall clock of a server, set from outside while it runs."""

    def __init__(self, file: Path, at: datetime) -> None:
        self.file = file
        self.set(at)

    def set(self, at: datetime) -> None:
        """Set the clock; it goes on from there."""
        true = {name: text for name, text in os.environ.items() if name != "LD_PRELOAD"}
        told = subprocess.run(["date", "+%s.%N"], env=true, capture_output=True, check=True)
        self.file.write_text(f"{at.timestamp() - float(told.stdout):+.3f}\n")

    def environment(self, zone: str) -> dict[str, str]:
        """Give what a process needs to live by this clock."""
        return {
            "LD_PRELOAD": str(LIBRARY), "FAKETIME_TIMESTAMP_FILE": str(self.file),
            "FAKETIME_NO_CACHE": "1", "FAKETIME_DONT_FAKE_MONOTONIC": "1", "TZ": zone,
            "PYTHONPATH": os.pathsep.join((str(ROOT / "tests" / "moved_clock"), str(ROOT))),
        }  # fmt: skip


def wait_for(found, seconds: float = 60) -> None:
    """Wait until it is so."""
    end = time.monotonic() + seconds
    while not found():
        assert time.monotonic() < end
        time.sleep(0.1)


def local(*when: int) -> datetime:
    """Give a moment told by the clock on the wall where SHIFTING holds, in winter time."""
    from datetime import timezone

    return datetime(*when, tzinfo=timezone(timedelta(hours=1)))


@pytest.mark.long
@pytest.mark.skipif(LIBRARY is None, reason="Debian's faketime is not installed")
def test_a_server_s_clock_goes_over_midnight_over_summer_time_and_a_day_back(
    worked_book, tmp_path, monkeypatch
):
    monkeypatch.delenv("FAKETIME", raising=False)
    monkeypatch.chdir(ROOT)
    clock = MovedClock(tmp_path / "clock", local(2027, 3, 27, 23, 59, 50))
    server = Server(
        worked_book,
        program=[sys.executable, "-c", PROGRAM],
        environment=clock.environment(SHIFTING),
    )

    def day_told() -> str:
        answer = server.get("/jobs/1")
        assert answer.status == 200
        return re.search(r'name="done_on"[^>]*value="([^"]+)"', answer.text).group(1)

    def count_backups() -> int:
        return len(list((worked_book / "laybook-backups").glob("0*")))

    def write(words: str) -> None:
        answer = server.post("/jobs/1/notes", {"note": words, "token": words})
        assert (answer.status, answer.location[:7]) == (303, "/jobs/1")

    days = []
    with server:
        wait_for(lambda: count_backups() == 1)
        for number, at in enumerate((
            local(2027, 3, 27, 23, 59, 50), local(2027, 3, 28, 0, 0, 5),  # midnight
            local(2027, 3, 28, 1, 59, 55), local(2027, 3, 28, 2, 0, 5),  # summer time begins
            local(2027, 3, 27, 12), local(2027, 3, 29, 12),  # a day back, and right again
        )):  # fmt: skip
            clock.set(at)
            days.append(day_told())
            write(f"note {number}")
            for page in ("/", "/glance", "/settings/backups", "/look-up?q=wiesen"):
                assert server.get(page).status == 200, (at, page)
        assert days == ["2027-03-27", "2027-03-28", "2027-03-28", "2027-03-28", "2027-03-27",
                        "2027-03-29"]  # fmt: skip
        # One is made when the clock was set back, and one when it was right again.
        wait_for(lambda: count_backups() >= 2)
        clock.set(local(2027, 3, 31, 12))
        before = count_backups()
        wait_for(lambda: count_backups() > before)
        assert "The last backup failed" not in server.get("/").text
    notes = rows_of(worked_book / "book.sqlite3",
                    "SELECT words FROM event WHERE words LIKE 'note _' ORDER BY id")  # fmt: skip
    assert [words for (words,) in notes] == [f"note {number}" for number in range(6)]
