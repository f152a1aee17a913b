"""A reading that fits the others worst and was read again, with the same number.

Revision ID: 20261127_again
Revises: 20261127_rails
"""

import sqlalchemy as sa
from alembic import op

revision = "20261127_again"
down_revision = "20261127_rails"
branch_labels = None
depends_on = None


def upgrade() -> None:
    again = sa.Column("confirmed", sa.Boolean(), server_default=sa.false(), nullable=False)
    op.add_column("reading", again)


def downgrade() -> None:
    with op.batch_alter_table("reading") as reading:
        reading.drop_column("confirmed")
