"""How well a glass is laid each time may be written for it.

Revision ID: 20261126_laying
Revises: 20261126_papers_anew
"""

import sqlalchemy as sa
from alembic import op

revision = "20261126_laying"
down_revision = "20261126_papers_anew"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("gauge", sa.Column("laying_mm", sa.Double(), nullable=True))


def downgrade() -> None:
    with op.batch_alter_table("gauge") as batch:
        batch.drop_column("laying_mm")
