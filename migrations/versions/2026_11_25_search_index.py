"""Index the search texts by trigrams, kept up to date by triggers (SQLite only).

Revision ID: 20261125_search
Revises: 20261125_first
"""

from alembic import op

revision = "20261125_search"
down_revision = "20261125_first"
branch_labels = None
depends_on = None

NOUNS = ("customer", "piece")


def upgrade() -> None:
    if op.get_bind().dialect.name != "sqlite":
        return
    for noun in NOUNS:
        op.execute(
            f"CREATE VIRTUAL TABLE {noun}_search USING fts5("
            f"search_text, content='{noun}', content_rowid='id', tokenize='trigram')"
        )
        op.execute(f"INSERT INTO {noun}_search({noun}_search) VALUES('rebuild')")
        add = f"INSERT INTO {noun}_search(rowid, search_text) VALUES (new.id, new.search_text);"
        remove = (
            f"INSERT INTO {noun}_search({noun}_search, rowid, search_text) "
            "VALUES ('delete', old.id, old.search_text);"
        )
        op.execute(f"CREATE TRIGGER {noun}_search_insert AFTER INSERT ON {noun} BEGIN {add} END")
        op.execute(f"CREATE TRIGGER {noun}_search_delete AFTER DELETE ON {noun} BEGIN {remove} END")
        op.execute(
            f"CREATE TRIGGER {noun}_search_update AFTER UPDATE OF search_text ON {noun} "
            f"BEGIN {remove} {add} END"
        )


def downgrade() -> None:
    if op.get_bind().dialect.name != "sqlite":
        return
    for noun in NOUNS:
        for what in ("insert", "delete", "update"):
            op.execute(f"DROP TRIGGER {noun}_search_{what}")
        op.execute(f"DROP TABLE {noun}_search")
