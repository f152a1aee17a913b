"""A damaged book is never opened, never changed, and always answered with a backup."""

import os
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing

import pytest

from app.store.book.backup import make_backup
from app.store.book.opening import IN_USE_NAME, close_book, mark_in_use
from app.store.book.sessions import PRAGMAS, BookProblem, check_settings, open_engine
from app.store.book.upkeep import read_upkeep
from app.web.app import open_book
from app.web.settings import Settings
from tests.books import content_of
from tests.conftest import NOON, Clock


def bytes_of(folder) -> dict[str, bytes]:
    """Give every file of a book but its lock."""
    return {
        one.relative_to(folder).as_posix(): one.read_bytes()
        for one in sorted(folder.rglob("*"))
        if one.is_file() and one.name not in {"book.lock", "book.sqlite3-shm"}
    }


def open_it(folder):
    return open_book(Settings(book=folder, now=Clock()))


pytestmark = pytest.mark.sqlite_file


def damage_page(path):
    with path.open("r+b") as file:
        file.seek(os.path.getsize(path) // 2 // 4096 * 4096)
        file.write(os.urandom(4096))


def truncate(path):
    os.truncate(path, os.path.getsize(path) * 2 // 3 // 4096 * 4096)


def zero_header(path):
    with path.open("r+b") as file:
        file.write(bytes(100))


DAMAGES = {
    "a damaged page": damage_page,
    "a truncated file": truncate,
    "a zeroed header": zero_header,
    "an emptied file": lambda path: os.truncate(path, 0),
    "a file of something else": lambda path: path.write_bytes(b"not a database" * 500),
    "a missing file": lambda path: path.unlink(),
}


@pytest.mark.parametrize("damage", DAMAGES)
def test_a_damaged_book_stops_the_start_is_left_alone_and_its_last_good_backup_is_named(
    worked_book, damage
):
    make_backup(worked_book, read_upkeep(worked_book, NOON), "daily", NOON)
    DAMAGES[damage](worked_book / "book.sqlite3")
    before = bytes_of(worked_book)
    with pytest.raises(BookProblem) as caught:
        open_it(worked_book)
    words = str(caught.value)
    assert "Nothing in it has been changed" in words
    assert "The last good backup is no. 1 of 25 November 2026" in words
    assert f"laybook restore 1 --book {worked_book}" in words
    assert bytes_of(worked_book) == before


def test_a_lost_book_without_a_backup_is_not_replaced_by_an_empty_one(worked_book):
    (worked_book / "book.sqlite3").unlink()
    with pytest.raises(BookProblem, match="No backup of it was found"):
        open_it(worked_book)
    assert not (worked_book / "book.sqlite3").exists()


def test_a_start_killed_before_anything_was_written_starts_as_a_new_book(tmp_path):
    (tmp_path / "book.sqlite3").touch()
    open_it(tmp_path).close()


def killed_copy(book, folder, *, with_log=True):
    """Copy a book as a killed server would leave it: in use, with its log."""
    mark_in_use(book, NOON)
    with closing(sqlite3.connect(book / "book.sqlite3", isolation_level=None)) as held:
        held.execute("UPDATE customer SET notes = 'written last'")
        shutil.copytree(book, folder)
    if not with_log:
        (folder / "book.sqlite3-wal").unlink()
        (folder / "book.sqlite3-shm").unlink()


def test_what_a_killed_server_left_in_the_log_is_there_after_the_next_start(worked_book, tmp_path):
    killed_copy(worked_book, tmp_path / "killed")
    sessions = open_it(tmp_path / "killed")
    with sessions.read() as session:
        found = session.connection().exec_driver_sql("SELECT notes FROM customer").scalars()
        assert set(found) == {"written last"}
    close_book(sessions, tmp_path / "killed")
    assert not (tmp_path / "killed" / IN_USE_NAME).exists()


def test_a_log_that_vanished_after_a_kill_is_noticed(worked_book, tmp_path):
    killed_copy(worked_book, tmp_path / "killed", with_log=False)
    before = bytes_of(tmp_path / "killed")
    with pytest.raises(BookProblem, match=r"book\.sqlite3-wal, which held what was written last"):
        open_it(tmp_path / "killed")
    assert bytes_of(tmp_path / "killed") == before


def test_a_book_closed_in_order_has_no_log_and_is_not_suspected(worked_book):
    sessions = open_it(worked_book)
    mark_in_use(worked_book, NOON)
    close_book(sessions, worked_book)
    assert not (worked_book / "book.sqlite3-wal").exists()
    open_it(worked_book).close()


def test_the_mark_stays_while_another_server_has_the_book_open(worked_book):
    one, other = open_it(worked_book), open_it(worked_book)
    mark_in_use(worked_book, NOON)
    close_book(one, worked_book)
    assert (worked_book / IN_USE_NAME).exists()
    close_book(other, worked_book)
    assert not (worked_book / IN_USE_NAME).exists()


@pytest.mark.skipif(
    shutil.which("setpriv") is None, reason="needs setpriv to give up root's rights"
)
@pytest.mark.parametrize("what", ["file", "folder"])
def test_a_book_that_can_only_be_read_stops_the_start_with_words(worked_book, what):
    path = worked_book if what == "folder" else worked_book / "book.sqlite3"
    path.chmod(0o555 if what == "folder" else 0o444)
    without_rights = ["setpriv", "--bounding-set=-dac_override,-dac_read_search,-fowner"]
    program = [sys.executable, "-m", "app", "--book", str(worked_book), "--port", "0"]
    before = bytes_of(worked_book)
    try:
        ended = subprocess.run(
            [*(without_rights if os.geteuid() == 0 else []), *program, "--no-browser"],
            capture_output=True, text=True, timeout=60, check=False,
        )  # fmt: skip
    finally:
        path.chmod(0o755)
    assert ended.returncode == 1
    assert "may not write there" in ended.stderr
    assert "Nothing has been changed" in ended.stderr
    assert "Traceback" not in ended.stderr
    assert bytes_of(worked_book) == before


def test_the_settings_that_keep_it_whole_are_read_back_on_every_connection(worked_book):
    engine = open_engine(worked_book)
    check_settings(engine)
    for _ in range(2):
        with engine.connect() as connection:
            found = {
                name: connection.exec_driver_sql(f"PRAGMA {name}").scalar() for name in PRAGMAS
            }
        assert found == PRAGMAS
    engine.dispose()


def test_a_database_that_does_not_take_a_setting_is_refused(worked_book, monkeypatch):
    monkeypatch.setitem(PRAGMAS, "journal_mode", "nosuchmode")
    with pytest.raises(BookProblem, match="answers journal_mode = "):
        open_it(worked_book)


def test_a_database_held_by_another_program_stops_the_start_with_words(worked_book, monkeypatch):
    monkeypatch.setattr("app.store.sqlite_files.BUSY_S", 0.2)
    before = content_of(worked_book / "book.sqlite3")
    with closing(sqlite3.connect(worked_book / "book.sqlite3", isolation_level=None)) as holder:
        holder.execute("PRAGMA locking_mode=EXCLUSIVE")
        holder.execute("BEGIN EXCLUSIVE")
        with pytest.raises(BookProblem, match="Another program holds"):
            open_it(worked_book)
    assert content_of(worked_book / "book.sqlite3") == before


def test_a_newer_book_is_refused_with_words_and_left_alone(worked_book):
    with closing(sqlite3.connect(worked_book / "book.sqlite3")) as connection:
        connection.execute("UPDATE alembic_version SET version_num = '29991231_much_later'")
        connection.commit()
    before = bytes_of(worked_book)
    with pytest.raises(BookProblem, match="written by a newer Laybook"):
        open_it(worked_book)
    after = bytes_of(worked_book)
    after.pop("book.sqlite3-wal", None)
    assert after == before
