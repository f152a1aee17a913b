"""The backups' page: made, aged, warned of, restored."""

import threading
import time

import pytest

from app.store.book import backup as backups
from app.store.book.backup_places import own_place
from app.web.app import create_app
from app.web.settings import Settings
from app.web.shop import backups as pages
from tests.books import rows_of
from tests.store.book.test_opening import bytes_of


def test_a_backup_is_made_by_a_press_and_listed(browser, book):
    browser.open("/settings/backups")
    assert "There is none yet" in browser.text
    browser.send("form[action$=make]")
    assert "The last backup is less than an hour old" in browser.text
    assert "No. 1, 25 November 2026" in browser.page.select_one(".line-link").text
    assert len(list(own_place(book).glob("000001-*"))) == 1


def test_the_bench_list_warns_of_an_old_backup_and_of_none(browser, clock):
    browser.open("/settings/backups")
    browser.send("form[action$=make]")
    browser.open("/")
    assert browser.page.select(".caution") == []
    clock.pass_days(3)
    browser.open("/")
    assert "The last backup is 3 days old." in browser.page.select_one(".caution").text
    browser.open(browser.page.select_one(".caution a")["href"])
    browser.send("form[action$=make]")
    browser.open("/")
    assert browser.page.select(".caution") == []


def test_a_book_never_backed_up_is_warned_of_after_two_days(browser, clock):
    clock.pass_days(3)
    browser.open("/")
    assert "There is no backup of this book yet." in browser.page.select_one(".caution").text


@pytest.mark.sqlite_file
def test_a_failed_backup_is_shown_on_the_bench_list_even_after_a_restart(
    browser, book, clock, monkeypatch
):
    def fail(*_args, **_keywords):
        raise OSError(28, "No space left on device")

    browser.open("/settings/backups")
    browser.send("form[action$=make]")
    monkeypatch.setattr(backups, "write_json", fail)
    browser.send("form[action$=make]")
    assert "The last backup failed: the disk is full." in browser.page.select_one(".caution").text
    assert len(browser.page.select("main .line-link")) == 1
    browser.open("/")
    assert "the disk is full" in browser.page.select_one(".caution").text
    again = pages.Watch(Settings(book=book, now=clock))
    assert "the disk is full" in again.fault()
    monkeypatch.undo()
    browser.open("/settings/backups")
    browser.send("form[action$=make]")
    browser.open("/")
    assert browser.page.select(".caution") == []


def test_a_daily_backup_is_made_when_due_and_not_twice(book, clock):
    watch = pages.Watch(Settings(book=book, now=clock))
    for hours in (0, 1, 23, 24, 47):
        clock.at = clock.at.replace(day=25 + hours // 24, hour=hours % 24)
        watch.look()
    made = sorted(one.name[:6] for one in own_place(book).glob("0*"))
    assert made == ["000001", "000002", "000003"]


def test_a_running_server_makes_the_first_backup_by_itself(book, clock):
    from fastapi.testclient import TestClient

    app = create_app(Settings(book=book, now=clock, daily_backups=True))
    with TestClient(app, base_url="http://127.0.0.1"):
        pass  # the watch finishes what it began before the server stops
    assert len(list(own_place(book).glob("000001-*-daily"))) == 1


def test_stopping_says_that_it_waits_for_a_backup(book, clock, monkeypatch, capsys):
    from fastapi.testclient import TestClient

    begun, make = threading.Event(), pages.make_backup

    def make_slowly(*given):
        begun.set()
        time.sleep(0.5)
        return make(*given)

    monkeypatch.setattr(pages, "make_backup", make_slowly)
    app = create_app(Settings(book=book, now=clock, daily_backups=True))
    with TestClient(app, base_url="http://127.0.0.1"):
        assert begun.wait(20)
    assert "A backup is being made. Laybook stops when it is done." in capsys.readouterr().out
    assert len(list(own_place(book).glob("000001-*-daily"))) == 1


def test_the_folder_and_the_rotation_are_the_shops_choice(browser, tmp_path):
    stick = tmp_path / "stick"
    browser.open("/settings/backups")
    browser.send("form[action$=backups]", folder=str(stick), keep_days="3")
    assert "The settings are kept." in browser.text
    browser.send("form[action$=make]")
    assert len(list(stick.glob("laybook-backups/000001-*-by_hand"))) == 1


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ({"folder": "stick"}, "Write the folder’s full path".replace("’", "'")),
        ({"folder": "/proc/no/such"}, "That folder can't be used"),
        ({"keep_days": "0"}, "Keep between 1 and 366 days."),
        ({"keep_weeks": "many"}, "is not a whole number"),
    ],
)
def test_settings_that_can_t_be_used_are_refused_with_everything_kept(browser, typed, words):
    browser.open("/settings/backups")
    browser.send("form[action$=backups]", status=422, **{"keep_months": "7", **typed})
    assert words in browser.text
    for name, value in {"keep_months": "7", **typed}.items():
        assert browser.page.select_one(f"[name={name}]")["value"] == value


def test_two_windows_on_the_settings_get_a_word_before_one_overwrites_the_other(browser):
    browser.open("/settings/backups")
    version = browser.page.select_one("[name=version]")["value"]
    browser.send("form[action$=backups]", keep_days="5")
    browser.open("/settings/backups")
    browser.send("form[action$=backups]", status=422, keep_days="6", version=version)
    assert "changed in another window" in browser.text
    assert browser.page.select_one("[name=keep_days]")["value"] == "6"
    browser.send("form[action$=backups]")
    assert browser.page.select_one("[name=keep_days]")["value"] == "6"


def test_a_restore_asks_for_the_number_and_can_be_taken_back(browser, take_in):
    take_in("Before the backup")
    browser.open("/settings/backups")
    browser.send("form[action$=make]")
    take_in("After the backup")
    browser.open("/settings/backups/1")
    assert "is good" in browser.text
    browser.send("form[action$=restore]", status=422, sure="yes")
    assert "Write the backup's number, 1" in browser.text
    browser.send("form[action$=restore]", sure="1")
    assert "The backup is in the book’s place" in browser.text
    browser.open("/customers")
    assert "Before the backup" in browser.text
    assert "After the backup" not in browser.text
    browser.open("/settings/backups/2")
    assert "before a restore" in browser.text
    browser.send("form[action$=restore]", sure="2")
    browser.open("/customers")
    assert "After the backup" in browser.text


def test_a_backup_that_rotted_offers_no_restore(browser, book):
    browser.open("/settings/backups")
    browser.send("form[action$=make]")
    (database,) = book.glob("laybook-backups/0*/book.sqlite3")
    data = bytearray(database.read_bytes())
    data[-1] ^= 1
    database.write_bytes(data)
    browser.open("/settings/backups/1")
    assert "Not good" in browser.text
    assert browser.page.select("form[action$=restore]") == []
    browser.open("/settings/backups/9", status=404)


def test_looking_at_backups_changes_no_file(browser, book):
    browser.open("/settings/backups")
    browser.send("form[action$=make]")
    before = bytes_of(book)
    browser.open("/settings/backups/1")
    browser.open("/settings/backups")
    browser.open("/")
    assert bytes_of(book) == before
    assert rows_of(book / "book.sqlite3", "SELECT count(*) FROM shop") == [(1,)]
