"""Outcomes of complaints; memos beside a piece or job; stock; prices of the shop's own pieces.

Revision ID: 20261127_memos
Revises: 20261126_laying
"""

import sqlalchemy as sa
from alembic import op

revision = "20261127_memos"
down_revision = "20261126_laying"
branch_labels = None
depends_on = None


def upgrade() -> None:
    outcome = sa.Column("outcome", sa.String(length=10), server_default="", nullable=False)
    op.add_column("job_tick", outcome)
    op.add_column("batch_piece", sa.Column("price_minor", sa.Integer(), nullable=True))
    op.create_table(
        "memo",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("piece_id", sa.Integer(), nullable=False),
        sa.Column("job_id", sa.Integer(), nullable=True),
        sa.Column("customer_id", sa.Integer(), nullable=True),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("on_date", sa.Date(), nullable=False),
        sa.Column("due", sa.Date(), nullable=True),
        sa.Column("done_on", sa.Date(), nullable=True),
        sa.Column("details", sa.JSON(), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.Column("struck_at", sa.DateTime(), nullable=True),
        sa.ForeignKeyConstraint(["piece_id"], ["piece.id"], name=op.f("fk_memo_piece_id_piece")),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_memo_job_id_job")),
        sa.ForeignKeyConstraint(
            ["customer_id"], ["customer.id"], name=op.f("fk_memo_customer_id_customer")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_memo")),
    )
    for column in ("piece_id", "job_id", "customer_id", "kind"):
        op.create_index(op.f(f"ix_memo_{column}"), "memo", [column], unique=False)
    op.create_table(
        "stock",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.Column("warn_at", sa.Integer(), nullable=True),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_stock")),
    )


def downgrade() -> None:
    op.drop_table("stock")
    op.drop_table("memo")
    with op.batch_alter_table("batch_piece") as batch:
        batch.drop_column("price_minor")
    with op.batch_alter_table("job_tick") as batch:
        batch.drop_column("outcome")
