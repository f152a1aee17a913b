"""Brings a book's database to this program's schema, all at once or not at all."""

from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, Engine, text

from app.store.book import BookProblem


def alembic_config(scripts: Path, connection: Connection | None = None) -> Config:
    """Give alembic its script folder and, if there is one, the connection to use."""
    config = Config()
    config.set_main_option("script_location", str(scripts))
    config.attributes["connection"] = connection
    return config


def newest_revision(scripts: Path) -> str:
    """Name the schema this program works with."""
    return ScriptDirectory.from_config(alembic_config(scripts)).get_current_head() or ""


def current_revision(engine: Engine) -> str | None:
    """Name the schema the book has; None for an empty one."""
    with engine.connect() as connection:
        return MigrationContext.configure(connection).get_current_revision()


def migrate_book(engine: Engine, scripts: Path) -> bool:
    """Bring the book to the newest schema in one transaction; say whether anything was done.

    Raises BookProblem, with the book unchanged, if it was written by a newer program or if the
    result would break a reference.
    """
    found = current_revision(engine)
    newest = newest_revision(scripts)
    if found == newest:
        return False
    known = {
        one.revision
        for one in ScriptDirectory.from_config(alembic_config(scripts)).walk_revisions()
    }
    if found is not None and found not in known:
        raise BookProblem(
            "This book was written by a newer Laybook than this one. Start the newer one; "
            "the book has not been touched."
        )
    with engine.execution_options(writes=True).connect() as connection:
        # Batch mode copies tables; with foreign keys on, dropping the old copy would cascade.
        # The pragma only takes effect outside a transaction, so it comes before BEGIN.
        raw = connection.connection.dbapi_connection
        if raw is None:
            raise BookProblem("The book's database could not be reached.")
        raw.execute("PRAGMA foreign_keys=OFF")
        try:
            with connection.begin():
                command.upgrade(alembic_config(scripts, connection), "head")
                if broken := connection.execute(text("PRAGMA foreign_key_check")).all():
                    raise BookProblem(
                        f"Bringing the book up to date would break {len(broken)} references. "
                        "The book has not been touched."
                    )
        finally:
            raw.execute("PRAGMA foreign_keys=ON")
    return True
