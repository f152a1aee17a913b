"""A book comes up to date whole, after a backup, or stays as it was."""

import sqlite3
from contextlib import closing

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory

from app.store.book.backup import list_backups
from app.store.book.locks import lock_of
from app.store.book.migrating import alembic_config, migrate_book, newest_revision
from app.store.book.opening import open_sessions
from app.store.book.upkeep import read_upkeep
from app.store.engines import open_book_engine
from app.store.problems import BookProblem
from app.store.tables import Base
from tests.books import content_of
from tests.conftest import NOON
from tests.databases import lay_on_server
from tests.store.book.test_migrating import is_ours
from tests.store.scripts import MIGRATIONS, with_next

LOSSES = {
    "a row deleted": ('op.execute("DELETE FROM event WHERE id = 1")', "“event” had"),
    "a row made": (
        "op.execute(\"INSERT INTO checklist_item (kind, label, place) VALUES ('x','x',1)\")",
        "“checklist_item” had",
    ),
    "a table dropped": ('op.drop_table("job_tick")', "“job_tick” had"),
    "triggers lost in a rebuild": (
        "batch = op.batch_alter_table('customer', recreate='always')\n"
        "    with batch as customer:\n"
        "        customer.add_column(sa.Column('colour', sa.Text(), nullable=True))",
        "triggers customer_search_delete, customer_search_insert, customer_search_update would be "
        "gone",
    ),
    "a reference broken": ('op.execute("UPDATE job SET piece_id = 999")', "references would break"),
}


def test_the_migrations_are_one_line_without_branches():
    scripts = ScriptDirectory.from_config(alembic_config(MIGRATIONS))
    assert len(scripts.get_heads()) == 1
    assert len(list(scripts.walk_revisions())) == len(list(MIGRATIONS.glob("versions/*.py")))


@pytest.mark.sqlite_file
def test_a_book_comes_up_to_date_with_every_row_after_a_backup(worked_book, tmp_path):
    before = content_of(worked_book / "book.sqlite3")
    sessions = open_sessions(worked_book, with_next(tmp_path), NOON)
    sessions.close()
    after = content_of(worked_book / "book.sqlite3")
    assert after.pop("shelf") == []
    assert [row[:-1] for row in after["customer"]] == before["customer"]
    for name in before.keys() - {"customer", "job", "alembic_version"}:
        assert after[name] == before[name]
    (made,) = list_backups(worked_book, read_upkeep(worked_book, NOON))
    assert made.reason == "before_upgrade"
    assert content_of(made.database) == before
    assert "before that it was backed up: no. 1" in sessions.said


@pytest.mark.sqlite_file
def test_references_hold_again_after_a_migration(worked_book, tmp_path):
    sessions = open_sessions(worked_book, with_next(tmp_path), NOON)
    with sessions.read() as session:
        assert session.connection().exec_driver_sql("PRAGMA foreign_keys").scalar() == 1
    sessions.close()


@pytest.mark.sqlite_file
@pytest.mark.parametrize("loss", LOSSES)
def test_a_migration_that_would_lose_something_changes_nothing(worked_book, tmp_path, loss):
    line, words = LOSSES[loss]
    before = content_of(worked_book / "book.sqlite3")
    with pytest.raises(BookProblem, match=words):
        open_sessions(worked_book, with_next(tmp_path, line), NOON)
    assert content_of(worked_book / "book.sqlite3") == before


def test_a_migration_may_say_whose_rows_it_changes(worked_book, tmp_path):
    scripts = with_next(tmp_path, 'op.execute("DELETE FROM event WHERE id = 1")')
    added = scripts / "versions" / "2999_next.py"
    added.write_text(added.read_text() + '\nCHANGES = {"event"}\n')
    open_sessions(worked_book, scripts, NOON).close()


def test_a_book_that_can_t_be_backed_up_is_not_brought_up_to_date(worked_book, tmp_path):
    (worked_book / "laybook-backups").write_text("a file where the folder should be")
    before = content_of(worked_book / "book.sqlite3")
    with pytest.raises(BookProblem, match="could not be backed up first"):
        open_sessions(worked_book, with_next(tmp_path), NOON)
    assert content_of(worked_book / "book.sqlite3") == before


def test_a_book_that_another_program_has_open_is_not_brought_up_to_date(worked_book, tmp_path):
    other = lock_of(worked_book)
    other.share()
    before = content_of(worked_book / "book.sqlite3")
    with pytest.raises(BookProblem, match="another Laybook has it open"):
        open_sessions(worked_book, with_next(tmp_path), NOON)
    other.release()
    assert content_of(worked_book / "book.sqlite3") == before
    open_sessions(worked_book, with_next(tmp_path / "again"), NOON).close()


@pytest.mark.sqlite_file
def test_with_foreign_keys_on_the_same_rebuild_would_delete_children(worked_book):
    """Why the pragma goes off first: SQLite's own documented trap, shown to be real."""
    with closing(sqlite3.connect(worked_book / "book.sqlite3")) as connection:
        connection.execute("PRAGMA foreign_keys=ON")
        before = connection.execute("SELECT count(*) FROM blade_set_member").fetchone()
        connection.execute("DELETE FROM family_blade_set")
        connection.execute("DELETE FROM shop")
        connection.execute("UPDATE reading_set SET blade_set_id = NULL")
        connection.execute("DROP TABLE blade_set")
        after = connection.execute("SELECT count(*) FROM blade_set_member").fetchone()
    assert before != (0,)
    assert after == (0,)


@pytest.mark.long
def test_every_schema_since_the_first_comes_up_to_date_step_by_step_or_at_once(tmp_path):
    revisions = [
        one.revision
        for one in ScriptDirectory.from_config(alembic_config(MIGRATIONS)).walk_revisions()
    ][::-1]
    for stop in revisions:
        engine = open_book_engine(lay_on_server(tmp_path / stop))
        migrate_book(engine, MIGRATIONS, stop)
        migrate_book(engine, MIGRATIONS)
        with engine.connect() as connection:
            context = MigrationContext.configure(connection, opts={"include_name": is_ours})
            assert compare_metadata(context, Base.metadata) == []
        engine.dispose()
    assert revisions[-1] == newest_revision(MIGRATIONS)
