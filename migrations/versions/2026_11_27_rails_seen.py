"""The shop says how it looks at a rail; until now that was how the last table brought in looked.

Whatever that was, it was turned round to the one way the book had.

Revision ID: 20261127_rails
Revises: 20261127_blades
"""

from alembic import op

revision = "20261127_rails"
down_revision = "20261127_blades"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.execute("UPDATE shop SET rails_seen = 'tip_up'")


def downgrade() -> None:
    """Nothing: the older program only offers it for the next table."""
