"""A book whose records lie on a PostgreSQL server: shared by benches, moved there and back.

These run wherever LAYBOOK_TEST_DATABASE names a server, whether or not the other tests' books lie
there; without one they are left out and say so.
"""

import random
import shutil
import threading
from contextlib import contextmanager
from datetime import date
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import func, select

from app.core.values.customers import CustomerEntry
from app.core.values.pieces import PieceEntry
from app.store.book.backup import check_backup, list_backups, make_backup
from app.store.book.copies import copy_to_file, hash_records, still
from app.store.book.joining import join_database
from app.store.book.locks import ServerLock
from app.store.book.migrating import current_revision, newest_revision
from app.store.book.opening import open_sessions
from app.store.book.restoring import restore_backup
from app.store.book.sessions import Sessions
from app.store.book.transfer import move_book
from app.store.book.upkeep import read_upkeep
from app.store.engines import open_address, open_engine
from app.store.postgresql.addresses import find_address, keep_address, parse_address
from app.store.postgresql.server import SETTINGS
from app.store.problems import BookProblem
from app.store.records.customers import add_customer
from app.store.records.pieces import add_piece
from app.store.records.search import find_customers, find_pieces
from app.store.tables import Base, Customer, Event, Job, Piece, Submission
from app.web.app import create_app
from app.web.commands import main
from app.web.settings import Settings
from tests.books import HEADERS
from tests.conftest import NOON, Browser, Clock
from tests.databases import SERVER, copy_book, make_database
from tests.store.exports import export, hash_book, take
from tests.store.scripts import MIGRATIONS, with_next


@pytest.fixture(scope="session")
def filled_here(tmp_path_factory):
    """Make a book with something in every corner in a folder, once."""
    from tests.books import fill_book

    folder = tmp_path_factory.mktemp("filled-here") / "book"
    fill_book(folder)
    return folder


@pytest.fixture(scope="session")
def filled_there(filled_here, tmp_path_factory):
    """Move that book to the server, once."""
    if not SERVER:
        return filled_here
    folder = tmp_path_factory.mktemp("filled-there") / "book"
    shutil.copytree(filled_here, folder)
    move_book(folder, make_database(), MIGRATIONS, NOON)
    return folder


@pytest.fixture
def here(filled_here, tmp_path):
    """Give a copy of the book in a folder."""
    return Path(shutil.copytree(filled_here, tmp_path / "here"))


@pytest.fixture
def on_server(request, filled_there, tmp_path):
    """Give a copy of the book on the server."""
    request.getfixturevalue("server")  # leaves the test out if there is none
    return copy_book(filled_there, tmp_path / "there")


def records_of(book) -> str:
    """Hash every record, wherever the book lies."""
    address = find_address(book)
    if address:
        with still(address) as connection:
            return hash_records(connection)
    engine = open_engine(book)
    try:
        with engine.connect() as connection:
            return hash_records(connection)
    finally:
        engine.dispose()


@contextmanager
def bench(book, **more):
    """Open the book as a bench does; gives a browser on it and its sessions."""
    app = create_app(Settings(book=book, now=Clock(), **more))
    with TestClient(app, base_url="http://127.0.0.1", headers=HEADERS) as client:
        yield Browser(client), app.state.sessions


def at_once(*acts):
    """Do all of it in threads that begin together."""
    gate = threading.Barrier(len(acts))

    def run(act):
        gate.wait()
        act()

    threads = [threading.Thread(target=run, args=(act,)) for act in acts]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()


def test_a_number_is_given_once_under_eight_drop_offs_at_once(on_server):
    with bench(on_server) as (one, sessions), bench(on_server) as (two, _):
        answers = []

        def drop_off(client, name):
            typed = {"do": "take_in", "customer": "new", "customer_name": name, "piece": "new",
                     "piece_instrument_kind": "clarinet_bb", "instrument_kind": "clarinet_bb",
                     "piece_marking": name, "token": f"token-{name}"}  # fmt: skip
            for _ in range(3):
                answer = client.post("/drop-off", data=typed, follow_redirects=False)
                answers.append((answer.status_code, answer.headers.get("location")))

        clients = [one.client, two.client] * 4
        at_once(*(lambda c=c, at=at: drop_off(c, f"N{at}") for at, c in enumerate(clients)))
        with sessions.read() as session:
            numbers = list(session.scalars(select(Job.number).order_by(Job.number)))
    assert {status for status, _ in answers} == {303}
    assert len({location for _, location in answers}) == 8  # pressed three times, taken in once
    assert numbers == list(range(1, len(numbers) + 1))
    assert len(numbers) == 2 + 8


def test_the_second_of_two_benches_sees_both_versions(on_server):
    with bench(on_server) as (one, _), bench(on_server) as (two, _):
        one.open("/jobs/1/edit")
        two.open("/jobs/1/edit")
        one.send("main form", agreed_work="close it")
        two.send("main form", agreed_work="open it", status=409)
        assert "close it" in two.text
        assert "open it" in two.text


def test_the_same_form_sent_to_two_benches_at_once_makes_one_record(on_server):
    with bench(on_server) as (one, sessions), bench(on_server) as (two, _):
        answers = []
        for at in range(5):
            data = {"note": f"pressed {at}", "token": f"same-{at}"}
            at_once(*(
                lambda b=b, data=data: answers.append(
                    b.client.post("/jobs/1/notes", data=data, follow_redirects=False).status_code
                )
                for b in (one, two, one, two)
            ))  # fmt: skip
        with sessions.read() as session:
            words = list(session.scalars(select(Event.words).where(Event.words.like("pressed%"))))
    assert set(answers) == {303}
    assert sorted(words) == [f"pressed {at}" for at in range(5)]


def test_a_page_reads_one_moment_and_waits_for_no_writer(on_server):
    sessions = open_sessions(on_server, MIGRATIONS, NOON)
    with sessions.read() as reading, sessions.write() as writing:
        count = select(func.count()).select_from(Event)
        before = reading.scalar(count)
        writing.add(Event(job_id=1, kind="note", on=date(2026, 11, 25), at=NOON, words="meanwhile"))
        writing.commit()
        assert reading.scalar(count) == before
    with sessions.read() as reading:
        assert reading.scalar(count) == before + 1
    sessions.close()


def test_a_writer_held_up_too_long_answers_503_in_words_with_the_form_and_is_taken_later(
    on_server, monkeypatch
):
    monkeypatch.setitem(SETTINGS, "lock_timeout", "100")
    holder = open_sessions(on_server, MIGRATIONS, NOON)
    with bench(on_server) as (browser, _):
        browser.open("/jobs/1")
        with holder.write() as held:
            held.execute(select(1))
            browser.send("form[action$=notes]", note="in line", status=503)
            assert "The book is busy" in browser.text
            assert "in line" in browser.text
            browser.client.get("/jobs/1").raise_for_status()
        browser.send("main form")
        assert "in line" in browser.text
    holder.close()


def test_a_number_no_record_can_have_is_not_found(on_server):
    with bench(on_server) as (browser, _):
        for path in ("/jobs/9999999999", "/jobs/99999999999999999999", "/papers/1/files/%00"):
            assert browser.client.get(path).status_code == 404


def test_moved_there_and_back_the_book_says_the_same_and_goes_on_counting(
    loaded_folder, server, tmp_path
):
    book = tmp_path / "book"
    shutil.copytree(loaded_folder, book)
    if (book / "database.json").exists():
        with still(find_address(book)) as source:
            copy_to_file(source, book / "book.sqlite3")
        keep_address(book, None)
    _there_and_back(book, server)


@pytest.mark.parametrize("seed", range(2))
def test_a_book_of_random_texts_moves_there_and_back_the_same(server, tmp_path, seed):
    book = tmp_path / "random"
    sessions = open_sessions(book, MIGRATIONS, NOON)
    chance = random.Random(seed)  # noqa: S311 - a repeatable book, not a secret
    signs = "aäß♭Łж😀'\"\\%_\n\t{}[]$1:x;-- \u200b\ue000"
    with sessions.write() as session:
        for _ in range(60):
            words = ["".join(chance.choices(signs, k=chance.randrange(30))) for _ in range(6)]
            customer = add_customer(session, CustomerEntry(*words), NOON)
            length = chance.choice([None, 0.1 + 0.2, chance.uniform(-1e300, 1e300), 5e-324])
            entry = PieceEntry("clarinet_bb", *words[:3], "glass", length, *words[3:5])
            add_piece(session, customer.id, entry, date(1900 + chance.randrange(300), 1, 1), NOON)
        session.commit()
    sessions.close()
    _there_and_back(book, server)


def _there_and_back(book, server):
    before = records_of(book)
    photos = sorted(book.glob("photos/**/*.*"))
    moved = move_book(book, server, MIGRATIONS, NOON)
    assert find_address(book) == server
    assert not (book / "book.sqlite3").exists()
    assert len(list(book.glob("set-aside/*/book.sqlite3"))) == 1
    assert check_backup(moved.backup) == []
    assert records_of(book) == before
    _make_more(book)
    more = records_of(book)
    assert more != before
    move_book(book, None, MIGRATIONS, NOON)
    assert find_address(book) is None
    assert records_of(book) == more
    _make_more(book)
    assert sorted(book.glob("photos/**/*.*")) == photos


def _make_more(book):
    """Make new records of every table that counts its ids by itself in most books."""
    sessions = open_sessions(book, MIGRATIONS, NOON)
    with sessions.write() as session:
        customer = add_customer(session, CustomerEntry("Neu", "", "", "", "", ""), NOON)
        piece = PieceEntry("clarinet_bb", "K", "", "N4", "glass", None, "", "")
        add_piece(session, customer.id, piece, date(2026, 1, 1), NOON)
        assert find_customers(session, "neu")[-1] == customer
        session.commit()
    sessions.close()


def test_a_move_goes_only_where_no_book_is(on_server, here):
    other, server = here, find_address(on_server)
    sessions = open_sessions(other, MIGRATIONS, NOON)
    with sessions.write() as session:
        add_customer(session, CustomerEntry("Somebody", "", "", "", "", ""), NOON)
        session.commit()
    sessions.close()
    before, there = records_of(other), records_of(on_server)
    with pytest.raises(BookProblem, match="holds another book"):
        move_book(other, server, MIGRATIONS, NOON)
    assert (records_of(other), records_of(on_server)) == (before, there)
    assert find_address(other) is None


def test_a_move_broken_off_before_its_note_is_taken_up_again(on_server):
    server = find_address(on_server)
    (file,) = on_server.glob("set-aside/*/book.sqlite3")
    file.rename(on_server / "book.sqlite3")
    keep_address(on_server, None)
    before = records_of(on_server)
    move_book(on_server, server, MIGRATIONS, NOON)
    assert find_address(on_server) == server
    assert records_of(on_server) == before


def test_a_move_that_fails_half_way_leaves_both_as_they_were(server, here, monkeypatch):
    book = here
    before = records_of(book)
    monkeypatch.setattr("app.store.book.copies.rebuild_index", lambda _: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        move_book(book, server, MIGRATIONS, NOON)
    monkeypatch.undo()
    assert records_of(book) == before
    assert find_address(book) is None
    move_book(book, server, MIGRATIONS, NOON)
    assert records_of(book) == before


def test_a_book_that_a_bench_has_open_is_not_moved(on_server):
    with bench(on_server) as (browser, _):
        browser.open("/")
        with pytest.raises(BookProblem, match="has this book open"):
            move_book(on_server, None, MIGRATIONS, NOON)
        browser.open("/jobs/1")


def test_a_backup_is_a_file_that_needs_no_server_and_restores_there(on_server, tmp_path):
    upkeep, before = read_upkeep(on_server, NOON), records_of(on_server)
    made = make_backup(on_server, upkeep, "by_hand", NOON)
    assert check_backup(made) == []
    alone = tmp_path / "without a server"
    restore_backup(alone, made, MIGRATIONS, NOON)
    assert records_of(alone) == before
    with bench(alone) as (browser, _):
        browser.open("/look-up?q=luckenw")
        assert "Jörg Łuckenwirbel" in browser.text
    with bench(on_server) as (browser, _):  # restored under a bench that has it open
        browser.open("/jobs/1")
        browser.send("form[action$=notes]", note="after the backup")
        changed = records_of(on_server)
        done = restore_backup(on_server, made, MIGRATIONS, NOON)
        assert records_of(on_server) == before
        browser.open("/jobs/1")
        assert "after the backup" not in browser.text
        browser.send("form[action$=notes]", note="goes on counting")
        assert "goes on counting" in browser.text
    kept = list_backups(on_server, upkeep)[0]
    assert kept.reason == "before_restore"
    assert f"no. {kept.number}" in done.kept
    restore_backup(on_server, kept, MIGRATIONS, NOON)
    # What is passing was taken after the backup that was kept: the note is there again.
    assert records_of(on_server) == changed


def test_an_export_is_taken_into_an_empty_book_on_the_server(on_server, server, tmp_path):
    export(on_server, tmp_path / "out.zip")
    empty = tmp_path / "empty"
    join_database(empty, server)
    create_app(Settings(book=empty, now=Clock())).state.sessions.close()
    take(empty, tmp_path / "out.zip")
    assert hash_book(empty) == hash_book(on_server)
    with bench(empty) as (browser, _):
        browser.open("/jobs/1")
        browser.send("form[action$=notes]", note="goes on counting")
        assert "goes on counting" in browser.text
    with pytest.raises(BookProblem, match="is not empty"):
        take(empty, tmp_path / "out.zip")


def test_writers_under_a_backup_and_a_restore_lose_nothing_unsaid(on_server):
    sessions = open_sessions(on_server, MIGRATIONS, NOON)
    stop, written, failed = threading.Event(), [], []

    def write(who):
        at = 0
        while not stop.is_set():
            at += 1
            try:
                with sessions.write() as session:
                    for half in "ab":
                        words = f"{who}:{at}{half}"
                        session.add(Event(job_id=1, kind="note", on=date(2026, 11, 25), at=NOON,
                                          words=words))  # fmt: skip
                        session.flush()
                    session.commit()
                written.append(f"{who}:{at}")
            except Exception as error:
                failed.append(error)

    threads = [threading.Thread(target=write, args=(who,)) for who in range(3)]
    for thread in threads:
        thread.start()
    try:
        _wait(lambda: len(written) >= 30)
        acknowledged = set(written)
        made = make_backup(on_server, read_upkeep(on_server, NOON), "daily", NOON)
        _wait(lambda: len(written) >= len(acknowledged) + 30)
        restore_backup(on_server, made, MIGRATIONS, NOON)
        _wait(lambda: len(written) >= len(acknowledged) + 60)
    finally:
        stop.set()
        for thread in threads:
            thread.join()
    assert failed == []
    replaced = list_backups(on_server, read_upkeep(on_server, NOON))[0]
    in_backup, in_replaced = _words_in(made.database), _words_in(replaced.database)
    assert {f"{act}{half}" for act in acknowledged for half in "ab"} <= in_backup
    for words in (in_backup, in_replaced):
        assert {one[:-1] for one in words if one.endswith("a")} == {
            one[:-1] for one in words if one.endswith("b")
        }
    with sessions.read() as session:
        now = set(session.scalars(select(Event.words)))
    assert {f"{act}{half}" for act in written for half in "ab"} <= in_replaced | now
    sessions.close()


def _words_in(database):
    engine = open_engine(database.parent)
    with engine.connect() as connection:
        found = set(connection.scalars(select(Event.words).where(Event.words.like("_:%"))))
    engine.dispose()
    return found


def _wait(done, seconds=60):
    import time

    end = time.monotonic() + seconds
    while not done():
        assert time.monotonic() < end
        time.sleep(0.02)


FAILURES = {
    "a step that fails": ("raise ValueError('broken')", "broken"),
    "a row deleted": ('op.execute("DELETE FROM event WHERE id = 1")', "“event” had"),
    "a table dropped": ('op.drop_table("job_tick")', "“job_tick” had"),
    "a reference broken": ('op.execute("UPDATE job SET piece_id = 999")', "foreign key"),
    "killed": (
        'op.execute("SELECT pg_terminate_backend(pg_backend_pid())")', "Nothing in it has been"),
}  # fmt: skip


@pytest.mark.parametrize("failure", FAILURES)
def test_a_migration_that_fails_or_is_killed_leaves_the_old_schema_and_starts(
    on_server, tmp_path, failure
):
    line, words = FAILURES[failure]
    before = records_of(on_server)
    with pytest.raises((BookProblem, ValueError), match=words):
        open_sessions(on_server, with_next(tmp_path, line), NOON)
    engine = open_address(find_address(on_server))
    assert current_revision(engine) == newest_revision(MIGRATIONS)
    engine.dispose()
    assert records_of(on_server) == before
    with bench(on_server) as (browser, _):
        browser.open("/jobs/1")
    # The same step without the fault comes through, after a backup of what it changes.
    sessions = open_sessions(on_server, with_next(tmp_path / "again"), NOON)
    assert "before that it was backed up" in sessions.said
    sessions.close()


def test_a_migration_is_alone_and_a_bench_of_before_writes_nothing_into_the_newer_book(
    on_server, tmp_path
):
    newer = with_next(tmp_path)
    with bench(on_server) as (browser, sessions):
        browser.open("/jobs/1")
        with pytest.raises(BookProblem, match="another Laybook has it open"):
            open_sessions(on_server, newer, NOON)
        sessions.engine.dispose()  # as after a server that was started anew
        sessions._lock.release()
        open_sessions(on_server, newer, NOON).close()
        browser.send("form[action$=notes]", note="by the old one", status=503)
        assert "brought this book up to date" in browser.text
        assert "by the old one" in browser.text


def test_a_database_that_is_not_a_book_or_sorts_by_a_language_is_refused(server, tmp_path):
    engine = open_address(server)
    with engine.begin() as connection:
        connection.exec_driver_sql("CREATE TABLE things (id integer)")
    engine.dispose()
    join_database(tmp_path / "book", server)
    with pytest.raises(BookProblem, match="something else than a book"):
        open_sessions(tmp_path / "book", MIGRATIONS, NOON)


def test_an_emptied_database_is_not_taken_for_a_new_book(on_server):
    engine = open_address(find_address(on_server))
    with engine.begin() as connection:
        Base.metadata.drop_all(connection)
        connection.exec_driver_sql("DROP TABLE alembic_version")
    engine.dispose()
    with pytest.raises(BookProblem, match=r"is empty, though(.|\n)*laybook restore 1"):
        open_sessions(on_server, MIGRATIONS, NOON)
    made = list_backups(on_server, read_upkeep(on_server, NOON))[0]
    restore_backup(on_server, made, MIGRATIONS, NOON)
    with bench(on_server) as (browser, _):
        browser.open("/jobs/1")


def test_a_folder_keeps_its_records_where_they_are(on_server, here, capsys):
    server = find_address(on_server)
    elsewhere = server.set(database="another")
    with pytest.raises(BookProblem, match="To move them: laybook move"):
        join_database(on_server, elsewhere)
    with pytest.raises(BookProblem, match="not in its folder"):
        join_database(on_server, None)
    join_database(on_server, server)
    told = server.render_as_string(hide_password=False)
    assert main(["check", "--book", str(here), "--database", told]) == 1
    assert "Move them first" in capsys.readouterr().err


def test_the_index_finds_what_a_full_scan_finds(on_server):
    syllables = ["mül", "ler", "straß", "ł", "u", "cja", "ana", "é", "9", "55", "%", "_", "o'", '"']
    words = st.lists(st.sampled_from(syllables), min_size=1, max_size=3).map("".join)
    sessions = open_sessions(on_server, MIGRATIONS, NOON)
    _fill_with(sessions, syllables)

    @settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
    @given(st.lists(words, min_size=1, max_size=3))
    def same(asked):
        query = " ".join(asked)
        with sessions.read() as session:
            session.execute(select(1))
            connection = session.connection()
            connection.exec_driver_sql("SET LOCAL enable_seqscan = off")
            by_index = _found(session, query)
            connection.exec_driver_sql("SET LOCAL enable_seqscan = on")
            connection.exec_driver_sql("SET LOCAL enable_bitmapscan = off")
            assert by_index == _found(session, query)

    same()
    with sessions.read() as session:
        session.connection().exec_driver_sql("SET LOCAL enable_seqscan = off")
        told = session.connection().exec_driver_sql(
            "EXPLAIN SELECT id FROM customer WHERE search_text LIKE '%%ller%%'"
        )
        assert "trigram_customer" in str(list(told))
    sessions.close()


def _fill_with(sessions: Sessions, syllables):
    chance = random.Random(5)  # noqa: S311 - a repeatable book, not a secret
    with sessions.write() as session:
        for _ in range(150):
            name = "".join(chance.choices(syllables, k=4))
            customer = add_customer(session, CustomerEntry(name, "", "", "", "", ""), NOON)
            marking = "".join(chance.choices(syllables, k=2))
            entry = PieceEntry("clarinet_bb", "K", "", marking, "glass", None, "", "")
            add_piece(session, customer.id, entry, date(2026, 1, 1), NOON)
        session.commit()


def _found(session, query):
    return (
        [one.id for one in find_customers(session, query, 1000)],
        [one.id for one in find_pieces(session, query, 1000)],
    )


@pytest.mark.parametrize(
    ("given_as", "words"),
    [
        ("mysql://u:secret@h/db", "can't be kept in that database"),
        ("postgresql://u:secret@h/db", "can't be kept in that database"),
        ("postgresql+psycopg://u:secret@h/", "doesn't name the database"),
        ("postgresql+psycopg://u@h/db?password=secret", "says “password”"),
        ("sqlite:////tmp/secret.db", "name the folder with --book"),
        ("postgresql+psycopg://u:secret@h:port/db", "no address"),
        ("secret", "no address"),
    ],
)
def test_another_address_is_refused_in_words_that_hold_no_password(given_as, words):
    with pytest.raises(BookProblem, match=words) as caught:
        parse_address(given_as)
    assert "secret" not in str(caught.value)


def test_a_password_is_neither_noted_nor_said(server, tmp_path, capfd, monkeypatch):
    monkeypatch.setenv("PGPASSWORD", "")
    named = server.set(password="s3cret-pass").render_as_string(hide_password=False)  # noqa: S106
    assert main(["migrate", "--book", str(tmp_path / "gone"), "--database", named]) == 0
    wrong = server.set(password="s3cret-pass", port=1).render_as_string(hide_password=False)  # noqa: S106
    assert main(["migrate", "--book", str(tmp_path / "none"), "--database", wrong]) == 1
    said = "".join(capfd.readouterr())
    assert "can't be opened" in said
    assert "Traceback" not in said
    assert "s3cret" not in said
    for path in tmp_path.rglob("*"):
        assert not path.is_file() or b"s3cret" not in path.read_bytes()


def test_without_the_driver_the_words_say_how_to_install_it(tmp_path, monkeypatch):
    def missing(*_args, **_more):
        raise ModuleNotFoundError("No module named 'psycopg'")

    monkeypatch.setattr("app.store.engines.create_engine", missing)
    with pytest.raises(BookProblem, match=r"pip install 'psycopg\[binary\]"):
        join_database(tmp_path / "book", parse_address("postgresql+psycopg://me@here/laybook"))


def test_every_bench_holds_the_book_open_with_each_connection(on_server):
    with bench(on_server) as (one, _), bench(on_server) as (two, _):
        one.open("/")
        two.open("/")
        lock = ServerLock(find_address(on_server))
        assert not lock.take_alone()
        lock.share()
        lock.release()
    lock = ServerLock(find_address(on_server))
    assert lock.take_alone()
    lock.release()


def test_what_is_counted_is_there(on_server):
    """The filled book really has something in the tables that these tests compare."""
    sessions = open_sessions(on_server, MIGRATIONS, NOON)
    with sessions.read() as session:
        for table in (Customer, Piece, Job, Event, Submission):
            assert session.scalar(select(func.count()).select_from(table)) >= 1
    sessions.close()
