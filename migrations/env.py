"""Runs migrations on the connection that `app.store.migrating` hands over."""

from alembic import context

from app.store.tables import Base, Utc


def render_item(kind: str, item: object, _context: object) -> str | bool:
    """Write our own column types as plain ones: a migration must not change with the program."""
    return "sa.DateTime()" if kind == "type" and isinstance(item, Utc) else False


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
        transactional_ddl=True,
        transaction_per_migration=False,
    )
    context.run_migrations()
