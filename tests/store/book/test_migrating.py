"""The tables and the migrations say the same; the settings of the database are read back."""

import gzip

import pytest
from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import text

from app.core.shop.shop import DEFAULT_CARE, DEFAULT_TERMS
from app.packed import folder_of
from app.store.book.migrating import alembic_config, current_revision, migrate_book, newest_revision
from app.store.book.sessions import Sessions
from app.store.engines import open_engine
from app.store.on_sqlite import PRAGMAS
from app.store.records.shop import get_mark, get_shop
from app.store.records.slips import get_slip, get_slip_file
from app.store.tables import Base
from tests.store.keep_book import BOOKS


def is_ours(name, kind, _parents):
    # The search index keeps shadow tables of its own beside the one the migration makes.
    # On PostgreSQL the indexes of trigrams are made at the start, if the server has them.
    name = name or ""
    return not name.startswith("trigram_") and (kind != "table" or "_search" not in name)


def test_models_match_migrations(sessions):
    with sessions.engine.connect() as connection:
        context = MigrationContext.configure(
            connection, opts={"compare_type": True, "include_name": is_ours}
        )
        assert compare_metadata(context, Base.metadata) == []


def test_a_new_book_has_the_newest_schema(sessions):
    assert current_revision(sessions.engine) == newest_revision(folder_of("migrations"))


@pytest.mark.sqlite_file
def test_the_database_has_the_settings_that_keep_it_whole(sessions):
    with sessions.engine.connect() as connection:
        for name, wanted in PRAGMAS.items():
            assert connection.execute(text(f"PRAGMA {name}")).scalar_one() == wanted


@pytest.mark.sqlite_file
def test_papers_issued_before_they_had_files_keep_their_picture_and_get_their_piece(tmp_path):
    engine, scripts = open_engine(tmp_path), folder_of("migrations")
    papers = "20261125_papers"
    with engine.execution_options(writes=True).connect() as connection, connection.begin():
        config = alembic_config(scripts, connection)
        before = ScriptDirectory.from_config(config).get_revision(papers).down_revision
        command.upgrade(config, before)
        for line in (
            "INSERT INTO customer (id, name, phone, email, address, plays, notes, search_text,"
            " created_at, version) VALUES (3, 'N', '', '', '', '', '', 'n', '2026-11-25', 1)",
            "INSERT INTO piece (id, owner_id, instrument_kind, maker, model, marking, material,"
            " telling_marks, notes, search_text, created_at, version)"
            " VALUES (7, 3, 'other', 'K', '', '', 'unknown', '', '', 'k', '2026-11-25', 1)",
            "INSERT INTO job (id, number, piece_id, customer_id, stage, dropped_off, request,"
            " condition_notes, agreed_work, return_by, tracking, created_at, version)"
            " VALUES (5, 1, 7, 3, 'ready', '2026-11-25', '', '', '', 'hand', '', '2026-11-25', 1)",
            "INSERT INTO slip (id, number, job_id, kind, issued_on, issued_at, paper, printed,"
            " html,"
            " picture) VALUES (2, 9, 5, 'return_card', '2026-11-25', '2026-11-25', 'A4', '{}',"
            " '<p>card</p>', x'3c737667')",
        ):
            connection.execute(text(line))
    migrate_book(engine, scripts)
    sessions = Sessions(engine)
    with sessions.read() as session:
        slip = get_slip(session, 9)
        assert (slip.piece_id, slip.job_id, slip.html, slip.paper) == (7, 5, "<p>card</p>", "A4")
        assert get_slip_file(session, 9, "picture.svg") == b"<svg"
    engine.dispose()


@pytest.mark.sqlite_file
@pytest.mark.parametrize("own_words", [False, True])
def test_the_words_a_book_began_with_are_renewed_and_a_shop_s_own_are_not(tmp_path, own_words):
    engine, scripts = open_engine(tmp_path), folder_of("migrations")
    with gzip.open(BOOKS / "20261125_forgetting.sqlite3.gz") as kept:
        (tmp_path / "book.sqlite3").write_bytes(kept.read())
    with engine.execution_options(writes=True).connect() as connection, connection.begin():
        assert "hot water turns hard rubber" in connection.scalar(text(_CARE))
        if own_words:
            connection.execute(text("UPDATE shop SET care_text = 'Swab it.', terms = 'None.'"))
    migrate_book(engine, scripts)
    with Sessions(engine).read() as session:
        shop = get_shop(session)
        told = (shop.care_text, shop.terms)
        assert (told == ("Swab it.", "None.")) == own_words
        assert own_words or told == (DEFAULT_CARE, DEFAULT_TERMS)
        assert (shop.look_again_months, shop.papers_address, get_mark(session)) == (24, "", "")
    engine.dispose()


_CARE = "SELECT care_text FROM shop"
