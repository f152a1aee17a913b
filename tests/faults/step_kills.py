"""Kill a program (-9) at its steps: `python -m tests.faults.step_kills WHAT BOOK FOLDER [EVERY]`.

A child does the act on a fresh copy of the book and kills itself before its n-th step, for every
n (or every so many) until it comes through. A step is each file opened to write, renamed, made or
removed, each database opened, and for a migration each SQL statement that changes something. The
parent then looks at what is left. This runs as a program of its own with one thread, for it forks.
"""

import json
import os
import random
import shutil
import signal
import sys
import time
from collections.abc import Callable, Mapping
from datetime import timedelta
from pathlib import Path

from sqlalchemy import Engine, event, update

from app.core.shop.backups import Rotation
from app.store.book.backup import check_backup, list_backups, make_backup
from app.store.book.backup_places import own_place
from app.store.book.contents import content_hash
from app.store.book.opening import open_sessions
from app.store.book.restoring import find_backup, restore_backup
from app.store.book.upkeep import Upkeep, keep_upkeep, read_upkeep
from app.store.engines import let_go, open_engine
from app.store.files import remove_database
from app.store.postgresql.addresses import find_address
from app.store.problems import BookProblem
from app.store.tables import Customer
from app.web.app import open_book
from app.web.settings import Settings
from tests.books import THIRD, content_of
from tests.conftest import NOON
from tests.databases import SERVER, copy_book, drop_databases, lay_on_server
from tests.store.exports import bring, export, hash_book
from tests.store.scripts import MIGRATIONS, with_next

FILE_STEPS = {"os.rename", "os.remove", "os.mkdir", "os.rmdir", "sqlite3.connect"}
TO_WRITE = os.O_WRONLY | os.O_RDWR | os.O_CREAT
CHANGING = ("BEGIN", "CREATE", "ALTER", "DROP", "INSERT", "UPDATE", "DELETE")
Steps = Callable[[Callable[[], None]], None]
EVERY = int(sys.argv[4]) if len(sys.argv) > 4 else 1


def die() -> None:
    """End at once, as if the power had gone."""
    os.kill(os.getpid(), signal.SIGKILL)


def at_file_steps(book: Path) -> Steps:
    """Count steps that touch files under a folder."""

    def watch(step: Callable[[], None]) -> None:
        def hook(name: str, arguments: tuple[object, ...]) -> None:
            if not arguments or str(book) not in str(arguments[0]):
                return
            if name in FILE_STEPS or (name == "open" and int(str(arguments[2])) & TO_WRITE):
                step()

        sys.addaudithook(hook)

    return watch


def at_statements(step: Callable[[], None]) -> None:
    """Count the SQL statements that change something, and the commits."""

    def before(_connection: object, _cursor: object, statement: str, *_more: object) -> None:
        if statement.lstrip().upper().startswith(CHANGING):
            step()

    event.listen(Engine, "before_cursor_execute", before)
    event.listen(Engine, "commit", lambda *_: step())


def at_all_steps(book: Path) -> Steps:
    """Count steps that touch a book's files, and on a server its statements too."""
    of_files = at_file_steps(book)

    def watch(step: Callable[[], None]) -> None:
        of_files(step)
        if find_address(book):
            at_statements(step)

    return watch


def in_child(act: Callable[[], None], steps: Steps, last: int) -> int:
    """Do the act in a child that dies at a step; gives the signal that ended it, 0 if none."""
    child = os.fork()
    if child == 0:
        done = 0

        def step() -> None:
            nonlocal done
            done += 1
            if done == last:
                die()

        try:
            steps(step)
            act()
        except BaseException as error:
            print(repr(error), file=sys.stderr)
            os._exit(9)
        os._exit(0)
    _, status = os.waitpid(child, 0)
    if os.WIFEXITED(status) and os.WEXITSTATUS(status):
        raise AssertionError(f"the child failed: {os.WEXITSTATUS(status)}")
    return os.WTERMSIG(status) if os.WIFSIGNALED(status) else 0


def at_each_step(
    prepare: Callable[[], Path],
    act: Callable[[Path], None],
    steps: Callable[[Path], Steps],
    look: Callable[[Path], str],
) -> dict[str, int]:
    """Kill at every step in turn, or every so many; gives how often each outcome was found."""
    found: dict[str, int] = {}
    # On a server each trial makes a database of its own: every seventh step must do.
    for last in range(1, 2000, EVERY * (7 if SERVER else 1)):
        book = prepare()
        killed = in_child(lambda: act(book), steps(book), last)  # noqa: B023 - run at once
        outcome = look(book)
        found[outcome] = found.get(outcome, 0) + 1
        shutil.rmtree(book)
        drop_databases(of_test=True)
        if not killed:
            return found
    raise AssertionError("it never came through")


def kill_migration(book: Path, workplace: Path) -> dict[str, int]:
    """Kill a migration: the old schema or the new, never between; the next start brings it up."""
    scripts = with_next(workplace)
    old = content_of(book / "book.sqlite3")
    whole = copy_book(book, workplace / "whole")
    open_sessions(whole, scripts, NOON).close()
    new = content_of(whole / "book.sqlite3")

    def look(here: Path) -> str:
        state = content_of(here / "book.sqlite3")
        outcome = "old" if state == old else "new" if state == new else "between"
        open_sessions(here, scripts, NOON).close()
        assert content_of(here / "book.sqlite3") == new, "the next start did not bring it up"
        return outcome

    return at_each_step(
        lambda: copy_book(book, workplace / "book"),
        lambda here: open_sessions(here, scripts, NOON).close(),
        lambda _: at_statements,
        look,
    )


def kill_backup(book: Path, workplace: Path) -> dict[str, int]:
    """Kill a backup: those before it are whole, the new one is whole or not there."""
    usual = read_upkeep(book, NOON)
    keep_upkeep(book, Upkeep(usual.book_id, usual.started_at, rotation=Rotation(1, 0, 0)))
    for _ in range(5):
        make_backup(book, usual, "daily", NOON)
    (book / "photos" / THIRD).write_bytes(b"a new photo")
    later = NOON + timedelta(days=1)

    def look(here: Path) -> str:
        upkeep = read_upkeep(here, NOON)
        made = list_backups(here, upkeep)
        assert all(check_backup(one) == [] for one in made), "a listed backup is not good"
        assert {2, 3, 4, 5} <= {one.number for one in made}, "an old backup is gone"
        assert make_backup(here, upkeep, "daily", later).number == made[0].number + 1
        left = [*own_place(here).glob("*/unfinished.json"), *own_place(here).glob("making")]
        assert not left, "rubbish is left"
        held = {mark.sha256 for one in list_backups(here, upkeep) for mark in one.photos.values()}
        pooled = [one.name for one in (own_place(here) / "photos").glob("??/*")]
        assert set(pooled) == held, "photos that no backup holds are left"
        return "made" if made[0].number == 6 else "not made"

    return at_each_step(
        lambda: copy_book(book, workplace / "book"),
        lambda here: (make_backup(here, read_upkeep(here, NOON), "daily", later), None)[1],
        at_all_steps,
        look,
    )


def _restorable(book: Path) -> tuple[dict, dict]:
    """Back a book up and change it; gives its content before and after."""
    before = content_of(book / "book.sqlite3")
    make_backup(book, read_upkeep(book, NOON), "daily", NOON)
    sessions = open_sessions(book, MIGRATIONS, NOON)
    with sessions.write() as session:
        session.execute(update(Customer).values(notes="a note that came later " * 400))
        session.commit()
    sessions.close()
    return before, content_of(book / "book.sqlite3")


def tables_of_file(database: Path) -> Mapping[str, str]:
    """Hash each table of a database file, whatever kind of database it was copied from."""
    looked_at = database.with_name("looked-at.sqlite3")
    shutil.copyfile(database, looked_at)
    try:
        opened = let_go(open_engine(looked_at.parent, looked_at.name))
        with opened as engine, engine.connect() as connection:
            return content_hash(connection, None).tables
    finally:
        remove_database(looked_at)


def _restore(here: Path) -> None:
    backup = find_backup(here, read_upkeep(here, NOON), "1")
    restore_backup(here, backup, MIGRATIONS, NOON)


def kill_restore(book: Path, workplace: Path) -> dict[str, int]:
    """Kill a restore of a sound book: the old book or the restored one, and the old one kept."""
    restored, replaced = _restorable(book)
    tables = hash_book(book).tables

    def look(here: Path) -> str:
        state = content_of(here / "book.sqlite3")
        outcome = "replaced" if state == replaced else "restored" if state == restored else "?"
        if outcome == "restored":
            kept = list_backups(here, read_upkeep(here, NOON))[0]
            assert tables_of_file(kept.database) == tables, "what it replaced was not kept"
        open_sessions(here, MIGRATIONS, NOON).close()
        _restore(here)
        assert content_of(here / "book.sqlite3") == restored
        return outcome

    found = at_each_step(lambda: copy_book(book, workplace / "book"), _restore, at_all_steps, look)
    chance = random.Random(8)  # noqa: S311 - moments, not secrets
    for _ in range(3 if SERVER else 25 // EVERY):
        here = copy_book(book, workplace / "book")
        child = os.fork()
        if child == 0:
            _restore(here)
            os._exit(0)
        time.sleep(chance.uniform(0, 0.25))
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        outcome = f"at any moment: {look(here)}"
        found[outcome] = found.get(outcome, 0) + 1
        shutil.rmtree(here)
        drop_databases(of_test=True)
    return found


def kill_restore_of_damaged(book: Path, workplace: Path) -> dict[str, int]:
    """Kill a restore of a damaged book: it still refuses, or is the restored one, never empty."""
    restored, _ = _restorable(book)
    path = book / "book.sqlite3"
    with path.open("r+b") as file:
        file.write(bytes(100))
    spoilt = path.read_bytes()

    def look(here: Path) -> str:
        try:
            open_sessions(here, MIGRATIONS, NOON).close()
            outcome = "restored"
        except BookProblem:
            outcome = "refused"
            _restore(here)
            open_sessions(here, MIGRATIONS, NOON).close()
        assert content_of(here / "book.sqlite3") == restored
        aside = [one.read_bytes() for one in here.glob("set-aside/*/book.sqlite3")]
        assert spoilt in aside, "what was replaced is gone"
        return outcome

    return at_each_step(
        lambda: Path(shutil.copytree(book, workplace / "book")), _restore, at_file_steps, look
    )


def kill_import(book: Path, workplace: Path) -> dict[str, int]:
    """Kill an import: the book is as empty as it was or all there, and the next try succeeds."""
    out, empty = workplace / "out.zip", lay_on_server(workplace / "empty")
    export(book, out)
    open_book(Settings(book=empty, now=lambda: NOON)).close()
    nothing, whole = hash_book(empty), hash_book(book)

    def look(here: Path) -> str:
        tables = hash_book(here).tables
        outcome = (
            "empty" if tables == nothing.tables else "imported" if tables == whole.tables else "?"
        )
        open_sessions(here, MIGRATIONS, NOON).close()
        if outcome == "empty":
            bring(here, out)
        assert hash_book(here) == whole, "the next try did not bring it in"
        assert not list(here.glob(".importing*")), "rubbish is left"
        return outcome

    return at_each_step(
        lambda: copy_book(empty, workplace / "book"),
        lambda here: (bring(here, out), None)[1],
        at_all_steps,
        look,
    )


ACTS = {
    "import": kill_import,
    "migration": kill_migration,
    "backup": kill_backup,
    "restore": kill_restore,
    "restore-of-damaged": kill_restore_of_damaged,
}


def main() -> None:
    """Run one and print the outcomes as JSON."""
    what, book, workplace = sys.argv[1], Path(sys.argv[2]), Path(sys.argv[3])
    workplace.mkdir(parents=True, exist_ok=True)
    keep_upkeep(book, read_upkeep(book, NOON))
    print(json.dumps(ACTS[what](book, workplace)))


if __name__ == "__main__":
    main()
