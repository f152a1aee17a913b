"""Keep where along the piece a reading was taken as it was typed.

Revision ID: 20261125_depth_typed
Revises: 20261125_gauges
"""

import sqlalchemy as sa
from alembic import op

revision = "20261125_depth_typed"
down_revision = "20261125_look_up"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("reading", sa.Column("depth_typed", sa.Text(), server_default="", nullable=False))


def downgrade() -> None:
    with op.batch_alter_table("reading") as batch:
        batch.drop_column("depth_typed")
