"""Works that are no cut, records joined, a charge's day, and how the shop looks at a rail.

The agreed price is now the first line of a bill. Where the lines of a job told that price already
(they come to it or to more, or exactly they were paid), it is not counted a second time.

Revision ID: 20261127_record
Revises: 20261127_orders
"""

import sqlalchemy as sa
from alembic import op

revision = "20261127_record"
down_revision = "20261127_orders"
branch_labels = None
depends_on = None

TOLD_BY_LINES = """
UPDATE job SET price_in_lines = true
WHERE agreed_price_minor > 0 AND id IN (SELECT job_id FROM charge WHERE struck_at IS NULL) AND (
    (SELECT SUM(amount_minor) FROM charge WHERE job_id = job.id AND struck_at IS NULL)
        >= agreed_price_minor
    OR (SELECT SUM(amount_minor) FROM charge WHERE job_id = job.id AND struck_at IS NULL)
        = (SELECT SUM(amount_minor) FROM payment WHERE job_id = job.id AND struck_at IS NULL))
"""
FORMER_OWNERS = """
INSERT OR REPLACE INTO piece_search(rowid, search_text)
SELECT piece.id, piece.search_text || char(10) || group_concat(customer.search_text, char(10))
FROM piece JOIN ownership ON ownership.piece_id = piece.id
JOIN customer ON customer.id = ownership.customer_id
GROUP BY piece.id HAVING count(*) > 1
"""


def upgrade() -> None:
    op.create_table(
        "work",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("done_on", sa.Date(), nullable=False),
        sa.Column("kind", sa.String(length=40), nullable=False),
        sa.Column("label", sa.Text(), nullable=False),
        sa.Column("material", sa.Text(), nullable=False),
        sa.Column("minutes", sa.Integer(), nullable=True),
        sa.Column("typed", sa.Text(), nullable=False),
        sa.Column("amount_mm", sa.Double(), nullable=True),
        sa.Column("price_minor", sa.Integer(), nullable=True),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.Column("struck_at", sa.DateTime(), nullable=True),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name="fk_work_job_id_job"),
        sa.PrimaryKeyConstraint("id", name="pk_work"),
    )
    op.create_index("ix_work_job_id", "work", ["job_id"])
    op.create_table(
        "joining",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("noun", sa.String(length=40), nullable=False),
        sa.Column("kept_id", sa.Integer(), nullable=False),
        sa.Column("gone_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("moved", sa.JSON(), nullable=False),
        sa.Column("undone_at", sa.DateTime(), nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_joining"),
    )
    op.create_index("ix_joining_noun_kept_id", "joining", ["noun", "kept_id"])
    seen = sa.Column("rails_seen", sa.String(length=20), server_default="tip_up", nullable=False)
    op.add_column("shop", seen)
    told = sa.Column("price_in_lines", sa.Boolean(), server_default=sa.false(), nullable=False)
    op.add_column("job", told)
    op.execute(TOLD_BY_LINES)
    op.add_column("charge", sa.Column("charged_on", sa.Date(), nullable=True))
    op.execute("UPDATE charge SET charged_on = date(created_at)")
    with op.batch_alter_table("charge") as charge:
        charge.alter_column("charged_on", existing_type=sa.Date(), nullable=False)
    on_sqlite = op.get_bind().dialect.name == "sqlite"
    for table in ("piece", "customer"):
        name = f"fk_{table}_joined_to_id_{table}"
        if on_sqlite:  # a rebuilt table would lose its triggers
            op.execute(
                f"ALTER TABLE {table} ADD COLUMN joined_to_id INTEGER "
                f"CONSTRAINT {name} REFERENCES {table}(id)"
            )
        else:
            op.add_column(table, sa.Column("joined_to_id", sa.Integer(), nullable=True))
            op.create_foreign_key(name, table, table, ["joined_to_id"], ["id"])
        op.create_index(f"ix_{table}_joined_to_id", table, ["joined_to_id"])
    if on_sqlite:
        op.execute(FORMER_OWNERS)


def downgrade() -> None:
    for table in ("piece", "customer"):
        op.drop_index(f"ix_{table}_joined_to_id", table)
        with op.batch_alter_table(table) as batch:
            batch.drop_constraint(f"fk_{table}_joined_to_id_{table}", type_="foreignkey")
            batch.drop_column("joined_to_id")
    with op.batch_alter_table("charge") as charge:
        charge.drop_column("charged_on")
    with op.batch_alter_table("job") as job:
        job.drop_column("price_in_lines")
    with op.batch_alter_table("shop") as shop:
        shop.drop_column("rails_seen")
    op.drop_table("joining")
    op.drop_table("work")
