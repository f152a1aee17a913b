"""Let a piece leave its batch; it keeps its place there.

Revision ID: 20261125_left_batch
Revises: 20261125_messages
"""

import sqlalchemy as sa
from alembic import op

revision = "20261125_left_batch"
down_revision = "20261125_messages"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("batch_piece", sa.Column("left_at", sa.DateTime(), nullable=True))


def downgrade() -> None:
    with op.batch_alter_table("batch_piece") as batch:
        batch.drop_column("left_at")
