"""Find pieces and jobs in one line each, newest first; indexes in the order of the lists.

Pieces' and jobs' lines are made from several tables and written by the program, not by triggers:
those would stand in the way of every later change of these tables.

Revision ID: 20261125_look_up
Revises: 20261125_papers
"""

from alembic import op

revision = "20261125_look_up"
down_revision = "20261125_papers"
branch_labels = None
depends_on = None

TRIGGERS = ("piece_search_insert", "piece_search_delete", "piece_search_update")
CHANGES = set(TRIGGERS)

LINES = {
    "piece_search": (
        "SELECT piece.id, piece.search_text || char(10) || customer.search_text "
        "FROM piece JOIN customer ON customer.id = piece.owner_id ORDER BY piece.id"
    ),
    "job_search": (
        "SELECT job.number, customer.search_text || char(10) || piece.search_text "
        "FROM job JOIN customer ON customer.id = job.customer_id "
        "JOIN piece ON piece.id = job.piece_id ORDER BY job.number"
    ),
}


def upgrade() -> None:
    op.create_index("ix_customer_search_text", "customer", ["search_text"])
    op.create_index("ix_job_customer_id_number", "job", ["customer_id", "number"])
    op.create_index("ix_job_returned_on_number", "job", ["returned_on", "number"])
    op.drop_index("ix_job_customer_id", "job")
    if op.get_bind().dialect.name != "sqlite":
        return
    for trigger in TRIGGERS:
        op.execute(f"DROP TRIGGER {trigger}")
    op.execute("DROP TABLE piece_search")
    for index, lines in LINES.items():
        op.execute(f"CREATE VIRTUAL TABLE {index} USING fts5(search_text, tokenize='trigram')")
        op.execute(f"INSERT INTO {index}(rowid, search_text) {lines}")


def downgrade() -> None:
    op.drop_index("ix_customer_search_text", "customer")
    op.drop_index("ix_job_customer_id_number", "job")
    op.drop_index("ix_job_returned_on_number", "job")
    op.create_index("ix_job_customer_id", "job", ["customer_id"])
    if op.get_bind().dialect.name != "sqlite":
        return
    op.execute("DROP TABLE job_search")
    op.execute("DROP TABLE piece_search")
    op.execute(
        "CREATE VIRTUAL TABLE piece_search USING fts5("
        "search_text, content='piece', content_rowid='id', tokenize='trigram')"
    )
    op.execute("INSERT INTO piece_search(piece_search) VALUES('rebuild')")
    add = "INSERT INTO piece_search(rowid, search_text) VALUES (new.id, new.search_text);"
    remove = (
        "INSERT INTO piece_search(piece_search, rowid, search_text) "
        "VALUES ('delete', old.id, old.search_text);"
    )
    op.execute(f"CREATE TRIGGER piece_search_insert AFTER INSERT ON piece BEGIN {add} END")
    op.execute(f"CREATE TRIGGER piece_search_delete AFTER DELETE ON piece BEGIN {remove} END")
    op.execute(
        "CREATE TRIGGER piece_search_update AFTER UPDATE OF search_text ON piece "
        f"BEGIN {remove} {add} END"
    )
