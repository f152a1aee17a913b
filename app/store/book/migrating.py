"""Brings a book's database to this program's schema, all at once or not at all.

The caller holds the book alone and has backed it up. Everything happens in one transaction, so a
program killed at any statement leaves the old schema; and nothing is kept unless every reference
holds, every page is sound and every table has the rows it had before. SQLite and PostgreSQL both
change tables within transactions.
"""

from functools import lru_cache
from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import Script, ScriptDirectory
from sqlalchemy import Connection, Engine, inspect, text

from app.store.engines import engine_kind
from app.store.problems import BookProblem

# Alembic's own.
NOT_COUNTED = {"alembic_version"}


def alembic_config(scripts: Path, connection: Connection | None = None) -> Config:
    """Alembic's configuration: its script folder and, if there is one, the connection to use."""
    config = Config()
    # Alembic reads a per cent sign in a path as the start of a name to fill in.
    config.set_main_option("script_location", str(scripts).replace("%", "%%"))
    config.attributes["connection"] = connection
    return config


def _scripts(scripts: Path) -> dict[str, Script]:
    return {script.revision: script for script in _directory(scripts).walk_revisions()}


@lru_cache(maxsize=4)
def _directory(scripts: Path) -> ScriptDirectory:
    """Read the revisions once: they are part of the program, and don't change while it runs."""
    return ScriptDirectory.from_config(alembic_config(scripts))


def newest_revision(scripts: Path) -> str:
    """Name the schema this program works with."""
    return _directory(scripts).get_current_head() or ""


def current_revision(engine: Engine) -> str | None:
    """Name the schema the book has; None for an empty one."""
    with engine.connect() as connection:
        return schema_of(connection)


def schema_of(connection: Connection) -> str | None:
    """Name the schema found on a connection; None for an empty database."""
    return MigrationContext.configure(connection).get_current_revision()


def is_known(revision: str, scripts: Path) -> bool:
    """Say whether this program knows a schema."""
    return revision in _scripts(scripts)


def refuse_newer(revision: str | None, scripts: Path) -> None:
    """Raise BookProblem if a newer program wrote the book."""
    if revision and revision not in _scripts(scripts):
        raise BookProblem(
            "This book was written by a newer Laybook than this one. Start the newer one; "
            "the book has not been touched."
        )


def needs_migrating(engine: Engine, scripts: Path) -> bool:
    """Say whether the book's schema is older than this program's; raises BookProblem if newer."""
    revision = current_revision(engine)
    refuse_newer(revision, scripts)
    return revision != newest_revision(scripts)


def migrate_book(engine: Engine, scripts: Path, to: str = "head") -> bool:
    """Bring the book to a schema in one transaction; say whether anything was done.

    Raises BookProblem, with the book unchanged, if it was written by a newer program or if the
    result would break a reference, damage a page, or lose or make a row.
    """
    revision = current_revision(engine)
    refuse_newer(revision, scripts)
    if revision == (newest_revision(scripts) if to == "head" else to):
        return False
    with engine.execution_options(writes=True).connect() as connection:
        kind = engine_kind(engine)
        with kind.rebuilding(connection):
            before, triggers = _count(connection), kind.list_triggers(connection)
            command.upgrade(alembic_config(scripts, connection), to)
            _refuse_losses(connection, before, triggers, _excused(scripts, revision))
    return True


def _count(connection: Connection) -> dict[str, int]:
    names = set(inspect(connection).get_table_names()) - NOT_COUNTED
    return {
        name: connection.execute(text(f'SELECT count(*) FROM "{name}"')).scalar_one()  # noqa: S608
        for name in sorted(names)
        if "_search" not in name  # the index and its shadow tables, made from the others
    }


def _excused(scripts: Path, revision: str | None) -> set[str]:
    """Name the tables and triggers a migration means to change: it says so as `CHANGES`."""
    ahead = []
    for script in _directory(scripts).walk_revisions():
        if script.revision == revision:
            break
        ahead.append(script)
    return {name for script in ahead for name in getattr(script.module, "CHANGES", ())}


def _refuse_losses(
    connection: Connection, before: dict[str, int], triggers: set[str], excused: set[str]
) -> None:
    after = _count(connection)
    faults = [
        f"“{name}” had {count} rows and would have {after.get(name, 0)}"
        for name, count in before.items()
        if after.get(name, 0) != count and name not in excused
    ]
    kind = engine_kind(connection)
    # A table that alembic rebuilds loses its triggers without a word, and with them the index.
    if lost := triggers - kind.list_triggers(connection) - excused:
        faults.append(f"the triggers {', '.join(sorted(lost))} would be gone")
    faults += kind.find_faults(connection)
    if faults:
        raise BookProblem(
            f"Bringing the book up to date would lose something: {'; '.join(faults)}. "
            "The book has not been touched. Go on with the program you had, and keep its backups."
        )
