"""How the book was begun: as the shop's own, or as a made-up one; empty if it was never asked.

A book from before this step that holds customers is never asked either, whatever this says.
"""

import sqlalchemy as sa
from alembic import op

revision = "20261125_begun_as"
down_revision = "20261125_search"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column(
        "shop", sa.Column("begun_as", sa.String(length=20), nullable=False, server_default="")
    )


def downgrade() -> None:
    with op.batch_alter_table("shop") as table:
        table.drop_column("begun_as")
