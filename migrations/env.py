"""Runs migrations on the connection that `app.store.migrating` hands over."""

from alembic import context

from app.store.tables import Base, Moment


def render_item(kind: str, item: object, _context: object) -> str | bool:
    """Write our own column types as plain ones: a migration must not change with the program."""
    return "sa.DateTime()" if kind == "type" and isinstance(item, Moment) else False


def is_ours(name: str | None, kind: str, _parents: object) -> bool:
    """Leave the search index and its shadow tables out of what autogenerate compares."""
    return kind != "table" or "_search" not in (name or "")


connection = context.config.attributes.get("connection")
if connection is None:
    # Only `alembic revision` in development comes here without one.
    context.configure(
        url="sqlite://",
        render_item=render_item,
        target_metadata=Base.metadata,
        render_as_batch=True,
    )
else:
    context.configure(
        connection=connection,
        target_metadata=Base.metadata,
        render_as_batch=True,
        render_item=render_item,
        include_name=is_ours,
        transactional_ddl=True,
        transaction_per_migration=False,
    )
    context.run_migrations()
