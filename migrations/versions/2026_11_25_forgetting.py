"""Who was forgotten, when, and how much went: counts only.

Revision ID: 20261125_forgetting
Revises: 20261125_left_batch
"""

import sqlalchemy as sa
from alembic import op

revision = "20261125_forgetting"
down_revision = "20261125_left_batch"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "forgetting",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("customer_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("removed", sa.JSON(), nullable=False),
        sa.Column("files_left", sa.JSON(), nullable=False),
        sa.Column("finished_at", sa.DateTime(), nullable=True),
        sa.ForeignKeyConstraint(
            ["customer_id"], ["customer.id"], name=op.f("fk_forgetting_customer_id_customer")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_forgetting")),
        sa.UniqueConstraint("customer_id", name=op.f("uq_forgetting_customer_id")),
    )


def downgrade() -> None:
    op.drop_table("forgetting")
