"""A restore gives back the very book that was backed up, and keeps what it replaces."""

import os
import shutil
import sqlite3
import threading
from contextlib import closing
from datetime import timedelta

import pytest

from app.store.book.acts import NOTE_NAME
from app.store.book.backup import list_backups, make_backup
from app.store.book.migrating import migrate_book
from app.store.book.restoring import find_backup, restore_backup
from app.store.book.upkeep import read_upkeep
from app.store.engines import open_book_engine, open_engine
from app.store.postgresql.addresses import find_address
from app.store.problems import BookProblem
from app.web.app import open_book
from app.web.settings import Settings
from tests.books import FIRST, PHOTO, SECOND, THIRD, content_of, rows_of
from tests.conftest import NOON, Clock
from tests.store.book.test_opening import DAMAGES, bytes_of
from tests.store.scripts import MIGRATIONS, with_next


@pytest.fixture
def upkeep(worked_book):
    return read_upkeep(worked_book, NOON)


@pytest.fixture
def made(worked_book, upkeep):
    return make_backup(worked_book, upkeep, "daily", NOON)


def change(book):
    engine = open_book_engine(book)
    with engine.execution_options(writes=True).begin() as connection:
        connection.exec_driver_sql("UPDATE customer SET notes = 'after the backup'")
        connection.exec_driver_sql("DELETE FROM event")
    engine.dispose()


def test_a_sound_book_is_replaced_and_kept_as_a_backup(worked_book, upkeep, made):
    before = content_of(worked_book / "book.sqlite3")
    change(worked_book)
    changed = content_of(worked_book / "book.sqlite3")
    done = restore_backup(worked_book, made, MIGRATIONS, NOON)
    assert content_of(worked_book / "book.sqlite3") == before
    newest = list_backups(worked_book, upkeep)[0]
    assert newest.reason == "before_restore"
    if find_address(worked_book) is None:  # a server says the same in values of its own
        assert content_of(newest.database) == changed
    assert f"no. {newest.number}" in done.kept
    restore_backup(worked_book, newest, MIGRATIONS, NOON)
    assert content_of(worked_book / "book.sqlite3") == changed


@pytest.mark.sqlite_file
@pytest.mark.parametrize("damage", DAMAGES)
def test_a_damaged_book_is_set_aside_byte_for_byte_and_the_backup_opens(worked_book, made, damage):
    before = content_of(worked_book / "book.sqlite3")
    path = worked_book / "book.sqlite3"
    DAMAGES[damage](path)
    spoilt = path.read_bytes() if path.exists() else None
    restore_backup(worked_book, made, MIGRATIONS, NOON)
    sessions = open_book(Settings(book=worked_book, now=Clock()))
    sessions.close()
    assert content_of(path) == before
    aside = [one.read_bytes() for one in worked_book.glob("set-aside/*/book.sqlite3")]
    assert aside == ([] if spoilt is None else [spoilt])


def test_photos_lost_or_spoilt_since_come_back_and_later_ones_stay(worked_book, made):
    photos = worked_book / "photos"
    (photos / FIRST).unlink()
    (photos / SECOND).write_bytes(b"spoilt")
    (photos / THIRD).write_bytes(b"taken later")
    restore_backup(worked_book, made, MIGRATIONS, NOON)
    assert (photos / FIRST).read_bytes() == PHOTO
    assert (photos / SECOND).read_bytes() == PHOTO[::-1]
    assert (photos / THIRD).read_bytes() == b"taken later"
    (aside,) = worked_book.glob(f"set-aside/*/photos/{SECOND}")
    assert aside.read_bytes() == b"spoilt"


def test_a_backup_that_rotted_is_not_restored(worked_book, made):
    data = bytearray(made.database.read_bytes())
    data[len(data) // 2] ^= 1
    made.database.write_bytes(data)
    before = bytes_of(worked_book)
    with pytest.raises(BookProblem, match="is not good"):
        restore_backup(worked_book, made, MIGRATIONS, NOON)
    assert bytes_of(worked_book) == before


@pytest.mark.sqlite_file
def test_a_backup_of_an_earlier_schema_is_brought_up_to_date_on_the_way(
    worked_book, made, tmp_path
):
    scripts = with_next(tmp_path)
    restore_backup(worked_book, made, scripts, NOON)
    assert rows_of(worked_book / "book.sqlite3", "SELECT rack FROM job ORDER BY 1") == [(1,), (2,)]


@pytest.mark.sqlite_file
def test_a_backup_of_a_newer_schema_is_refused(worked_book, upkeep, tmp_path):
    engine = open_engine(worked_book)
    migrate_book(engine, with_next(tmp_path))
    engine.dispose()
    newer = make_backup(worked_book, upkeep, "daily", NOON)
    before = content_of(worked_book / "book.sqlite3")
    with pytest.raises(BookProblem, match="newer Laybook"):
        restore_backup(worked_book, newer, MIGRATIONS, NOON)
    assert content_of(worked_book / "book.sqlite3") == before


@pytest.mark.sqlite_file
def test_a_book_whose_replaced_state_can_t_be_kept_is_not_restored(worked_book, made, monkeypatch):
    change(worked_book)
    before = content_of(worked_book / "book.sqlite3")

    def fail(*_args, **_keywords):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("app.store.book.backup.write_json", fail)
    with pytest.raises(BookProblem, match="could not be kept: the disk is full"):
        restore_backup(worked_book, made, MIGRATIONS, NOON)
    assert content_of(worked_book / "book.sqlite3") == before
    assert not list(worked_book.glob(".restoring*"))


@pytest.mark.sqlite_file
def test_a_backup_carried_to_another_machine_makes_the_same_book_there(worked_book, made, tmp_path):
    carried = tmp_path / "stick"
    shutil.copytree(made.folder.parent, carried)
    named = carried / made.folder.name
    other = tmp_path / "other machine" / "book"
    chosen = find_backup(other, read_upkeep(other, NOON), str(named))
    restore_backup(other, chosen, MIGRATIONS, NOON)
    assert content_of(other / "book.sqlite3") == content_of(worked_book / "book.sqlite3")
    assert (other / "photos" / FIRST).read_bytes() == PHOTO
    open_book(Settings(book=other, now=Clock())).close()


@pytest.mark.sqlite_file
def test_a_restore_ends_the_suspicion_that_the_log_was_lost(worked_book, made):
    (worked_book / NOTE_NAME).write_text("9999")
    restore_backup(worked_book, made, MIGRATIONS, NOON)
    assert not (worked_book / NOTE_NAME).exists()


def test_an_unknown_backup_is_refused_with_words(worked_book, upkeep):
    for named in ("17", "/no/such/folder"):
        with pytest.raises(BookProblem, match="There is no backup"):
            find_backup(worked_book, upkeep, named)


@pytest.mark.sqlite_file
def test_the_restore_drill_under_write_load_gives_back_what_was_backed_up(worked_book, upkeep):
    """Writers go on the whole time; the book restored is the snapshot, then the load goes on."""
    path = worked_book / "book.sqlite3"
    stop, written, failed = threading.Event(), [], []

    def write(who: int) -> None:
        with closing(sqlite3.connect(path, isolation_level=None, timeout=20)) as connection:
            number = 0
            while not stop.is_set():
                number += 1
                words = f"{who}:{number}"
                try:
                    connection.execute("BEGIN IMMEDIATE")
                    for half in "ab":
                        connection.execute(
                            "INSERT INTO event (job_id, kind, on_date, at, words) "
                            "VALUES (1, 'note', '2026-11-25', '2026-11-25', ?)",
                            (f"{words}{half}",),
                        )
                    connection.execute("COMMIT")
                    written.append(words)
                except sqlite3.Error as error:
                    failed.append(error)

    threads = [threading.Thread(target=write, args=(who,)) for who in range(3)]
    for thread in threads:
        thread.start()
    while len(written) < 50:
        os.sched_yield()
    before = set(written)
    made = make_backup(worked_book, upkeep, "daily", NOON)
    snapshot = content_of(made.database)
    while len(written) < len(before) + 150:
        os.sched_yield()
    restore_backup(worked_book, made, MIGRATIONS, NOON + timedelta(hours=1))
    stop.set()
    for thread in threads:
        thread.join()
    assert failed == []
    in_backup = {words for (*_, words, _stage, _struck) in snapshot["event"]}
    acts = {words[:-1] for words in in_backup if words[-1] in "ab" and words[0].isdigit()}
    assert before <= acts
    assert all({f"{act}a", f"{act}b"} <= in_backup for act in acts)
    replaced = list_backups(worked_book, upkeep)[0]
    assert replaced.reason == "before_restore"
    kept = {row[5] for row in content_of(replaced.database)["event"]}
    assert {f"{act}a" for act in acts} <= kept
    # Every act that was acknowledged is in what was replaced, or came after the restore.
    there = kept | {row[5] for row in content_of(path)["event"]}
    assert {f"{act}{half}" for act in written for half in "ab"} <= there
    # The snapshot's other tables are back to the byte, and the load that went on added to it.
    now = content_of(path)
    assert {name: rows for name, rows in now.items() if name != "event"} == {
        name: rows for name, rows in snapshot.items() if name != "event"
    }
    assert set(snapshot["event"]) - set(now["event"]) == set()
