"""Keep with a form's token what it said, so that other content under it isn't dropped.

Revision ID: 20261126_digests
Revises: 20261125_forgetting
"""

import sqlalchemy as sa
from alembic import op

revision = "20261126_digests"
down_revision = "20261125_forgetting"
branch_labels = None
depends_on = None


def upgrade() -> None:
    column = sa.Column("digest", sa.String(64), nullable=False, server_default="")
    op.add_column("submission", column)


def downgrade() -> None:
    with op.batch_alter_table("submission") as batch:
        batch.drop_column("digest")
