"""The tables and the migrations say the same; the settings of the database are read back."""

from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import text

from app.store.book import PRAGMAS
from app.store.migrating import current_revision, newest_revision
from app.store.tables import Base
from app.web.files import folder_of


def is_ours(name, kind, _parents):
    # The search index keeps shadow tables of its own beside the one the migration makes.
    return kind != "table" or "_search" not in name


def test_models_match_migrations(sessions):
    with sessions.engine.connect() as connection:
        context = MigrationContext.configure(
            connection, opts={"compare_type": True, "include_name": is_ours}
        )
        assert compare_metadata(context, Base.metadata) == []


def test_a_new_book_has_the_newest_schema(sessions):
    assert current_revision(sessions.engine) == newest_revision(folder_of("migrations"))


def test_the_database_has_the_settings_that_keep_it_whole(sessions):
    with sessions.engine.connect() as connection:
        for name, wanted in PRAGMAS.items():
            assert connection.execute(text(f"PRAGMA {name}")).scalar_one() == wanted
