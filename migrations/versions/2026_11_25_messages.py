"""The shop's own wording of messages."""

import sqlalchemy as sa
from alembic import op

revision = "20261125_messages"
down_revision = "20261125_charges"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "message_text",
        sa.Column("kind", sa.String(length=40), nullable=False),
        sa.Column("subject", sa.Text(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("kind", name=op.f("pk_message_text")),
    )


def downgrade() -> None:
    op.drop_table("message_text")
