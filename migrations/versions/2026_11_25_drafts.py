"""Drafts of what is being typed."""

import sqlalchemy as sa
from alembic import op

revision = "20261125_drafts"
down_revision = "20261125_photos"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "draft",
        sa.Column("place", sa.String(length=60), nullable=False),
        sa.Column("fields", sa.JSON(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.PrimaryKeyConstraint("place", name=op.f("pk_draft")),
    )


def downgrade() -> None:
    op.drop_table("draft")
