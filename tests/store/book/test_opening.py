"""A damaged book is never opened, never changed, and always answered with a backup."""

import os
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing

import pytest
from fastapi.testclient import TestClient

from app.store.book.acts import count_acts, read_note
from app.store.book.backup import make_backup
from app.store.book.restoring import restore_backup
from app.store.book.upkeep import read_upkeep
from app.store.engines import check_settings, open_engine
from app.store.on_sqlite import PRAGMAS
from app.store.problems import BookProblem
from app.web.app import create_app, open_book
from app.web.commands import main
from app.web.settings import Settings
from tests.books import HEADERS, content_of
from tests.conftest import NOON, Browser, Clock
from tests.store.scripts import MIGRATIONS


def bytes_of(folder) -> dict[str, bytes]:
    """Give every file of a book but its lock, and the empty log that looking at it leaves."""
    return {
        one.relative_to(folder).as_posix(): one.read_bytes()
        for one in sorted(folder.rglob("*"))
        if one.is_file()
        and one.name not in {"book.lock", "book.sqlite3-shm"}
        and not (one.name == "book.sqlite3-wal" and one.stat().st_size == 0)
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


def act(sessions, words: str) -> None:
    """Keep something as a page would: one writing transaction."""
    with sessions.write() as session:
        session.connection().exec_driver_sql("UPDATE customer SET notes = ?", (words,))
        session.commit()


def killed_copy(book, folder, acts: int = 1):
    """Copy a book as a killed server would leave it: with its log, and its last acts only there."""
    sessions = open_it(book)
    for number in range(acts):
        act(sessions, f"written last: {number}")
    shutil.copytree(book, folder)
    sessions.close()
    return folder


def remove_log(folder) -> None:
    for end in ("-wal", "-shm"):
        (folder / f"book.sqlite3{end}").unlink()


def notes_of(folder) -> set[str]:
    with closing(sqlite3.connect(folder / "book.sqlite3")) as connection:
        return {row[0] for row in connection.execute("SELECT notes FROM customer")}


def test_what_a_killed_server_left_in_the_log_is_there_after_the_next_start(worked_book, tmp_path):
    killed = killed_copy(worked_book, tmp_path / "killed")
    open_it(killed).close()
    assert notes_of(killed) == {"written last: 0"}


def test_acts_that_vanished_with_the_log_are_counted(worked_book, tmp_path):
    killed = killed_copy(worked_book, tmp_path / "killed", acts=3)
    remove_log(killed)
    before = bytes_of(killed)
    with pytest.raises(BookProblem, match=r"3 acts that stood only in its log, book\.sqlite3-wal"):
        open_it(killed)
    assert bytes_of(killed) == before


FOLDING = {
    "the verb export": ["export", "--to", "out.zip"],
    "the verb migrate": ["migrate"],
    "the verb check": ["check"],
    "the verb backup": ["backup"],
    "another program": None,
}


@pytest.mark.parametrize("who", FOLDING)
def test_a_log_that_somebody_else_folded_in_after_a_kill_raises_no_alarm(
    worked_book, tmp_path, monkeypatch, who
):
    killed = killed_copy(worked_book, tmp_path / "killed")
    monkeypatch.chdir(tmp_path)
    if arguments := FOLDING[who]:
        assert main([*arguments, "--book", str(killed)]) == 0
    with closing(sqlite3.connect(killed / "book.sqlite3")) as connection:
        connection.execute("SELECT count(*) FROM job").fetchone()
    assert not (killed / "book.sqlite3-wal").exists()
    (killed / "in-use.json").write_text("{}")  # as an earlier program left it
    open_it(killed).close()
    assert notes_of(killed) == {"written last: 0"}
    assert not (killed / "in-use.json").exists()


def test_the_alarm_says_what_is_newer_than_the_backup_that_it_names(worked_book, tmp_path):
    make_backup(worked_book, read_upkeep(worked_book, NOON), "daily", NOON)
    app = create_app(Settings(book=worked_book, now=Clock()))
    with TestClient(app, base_url="http://127.0.0.1", headers=HEADERS) as client:
        browser = Browser(client)
        browser.open("/jobs/2")
        browser.send("form[action$=notes]", note="Newer than the backup.")
    killed = killed_copy(worked_book, tmp_path / "killed", acts=2)
    remove_log(killed)
    with pytest.raises(BookProblem) as caught:
        open_it(killed)
    words = " ".join(str(caught.value).split())
    assert "2 acts that stood only in its log" in words
    assert "The last good backup is no. 1" in words
    assert "The file holds what that backup does not: 1 line of the jobs' history (job 2)." in words
    assert main(["check", "--as-it-is", "--book", str(killed)]) == 0
    open_it(killed).close()


def test_a_book_that_can_t_be_read_says_how_many_acts_came_after_the_backup(worked_book):
    make_backup(worked_book, read_upkeep(worked_book, NOON), "daily", NOON)
    sessions = open_it(worked_book)
    for _ in range(4):
        act(sessions, "after the backup")
    sessions.close()
    zero_header(worked_book / "book.sqlite3")
    with pytest.raises(BookProblem, match="can't be read any more: 4 acts by Laybook's own count"):
        open_it(worked_book)


def test_a_backup_that_holds_all_that_the_file_holds_is_said_to(worked_book):
    make_backup(worked_book, read_upkeep(worked_book, NOON), "daily", NOON)
    (worked_book / "last-act.txt").write_text("9999999")
    with pytest.raises(BookProblem, match="It holds every record that the file holds"):
        open_it(worked_book)


def test_acts_are_counted_on_after_a_restore_without_an_alarm(worked_book):
    made = make_backup(worked_book, read_upkeep(worked_book, NOON), "daily", NOON)
    sessions = open_it(worked_book)
    for _ in range(9):
        act(sessions, "after the backup")
    restore_backup(worked_book, made, MIGRATIONS, NOON)  # while a server has it open
    act(sessions, "after the restore")
    sessions.close()
    open_it(worked_book).close()
    assert notes_of(worked_book) == {"after the restore"}


def test_what_was_not_kept_is_not_counted(worked_book):
    sessions = open_it(worked_book)
    act(sessions, "kept")
    noted = read_note(worked_book)
    with sessions.write() as session:
        session.connection().exec_driver_sql("UPDATE customer SET notes = 'not kept'")
    with sessions.read() as session:
        session.connection().exec_driver_sql("SELECT 1")
    sessions.close()
    with closing(sqlite3.connect(worked_book / "book.sqlite3")) as connection:
        assert (count_acts(connection), read_note(worked_book)) == (noted, noted)


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
