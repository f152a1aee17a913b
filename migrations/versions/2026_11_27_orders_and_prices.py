"""Several pieces in one order, pieces that are still to come, and the shop's price list.

Revision ID: 20261127_orders
Revises: 20261127_memos
"""

import sqlalchemy as sa
from alembic import op

revision = "20261127_orders"
down_revision = "20261127_memos"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "service",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("label", sa.Text(), nullable=False),
        sa.Column("family", sa.String(length=40), nullable=False),
        sa.Column("material", sa.String(length=40), nullable=False),
        sa.Column("price_minor", sa.Integer(), nullable=False),
        sa.Column("retired", sa.Boolean(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_service"),
    )
    op.add_column("job", sa.Column("expected_on", sa.Date(), nullable=True))
    set_up = sa.Column("played_with", sa.Text(), server_default="", nullable=False)
    op.add_column("job", set_up)
    with op.batch_alter_table("job") as batch:
        batch.add_column(sa.Column("order_id", sa.Integer(), nullable=True))
        batch.create_foreign_key("fk_job_order_id_job", "job", ["order_id"], ["id"])
    op.create_index("ix_job_order_id", "job", ["order_id"])


def downgrade() -> None:
    op.drop_index("ix_job_order_id", "job")
    with op.batch_alter_table("job") as batch:
        batch.drop_constraint("fk_job_order_id_job", type_="foreignkey")
        for column in ("order_id", "played_with", "expected_on"):
            batch.drop_column(column)
    op.drop_table("service")
