"""The order in which a shop reads its blades, blades that were not read, and rails read once.

What was kept before did not say which blades were left out: they are those of the set, as it is
now, that were felt on neither rail where any was. Whether one number was given for both rails is
not known of them, and stays unsaid.

Revision ID: 20261127_blades
Revises: 20261127_record
"""

import sqlalchemy as sa
from alembic import op

revision = "20261127_blades"
down_revision = "20261127_record"
branch_labels = None
depends_on = None

LEFT_OUT = """
SELECT DISTINCT reading_set.id, gauge.nominal_mm FROM reading_set
JOIN blade_set_member ON blade_set_member.blade_set_id = reading_set.blade_set_id
JOIN gauge ON gauge.id = blade_set_member.gauge_id
WHERE EXISTS (SELECT 1 FROM reading WHERE set_id = reading_set.id AND quantity = 'blade')
AND NOT EXISTS (
    SELECT 1 FROM reading WHERE set_id = reading_set.id AND quantity = 'blade'
    AND reading.gauge_id = gauge.id)
ORDER BY reading_set.id, gauge.nominal_mm DESC
"""


def upgrade() -> None:
    order = sa.Column(
        "blade_order", sa.String(length=20), server_default="thin_first", nullable=False
    )
    op.add_column("shop", order)
    unread = sa.Column("unread_mm", sa.JSON(), server_default="[]", nullable=False)
    op.add_column("reading_set", unread)
    once = sa.Column("read_once", sa.Boolean(), server_default=sa.false(), nullable=False)
    op.add_column("reading_set", once)
    connection = op.get_bind()
    left_out: dict[int, list[float]] = {}
    for set_id, gap_mm in connection.execute(sa.text(LEFT_OUT)):
        left_out.setdefault(set_id, []).append(gap_mm)
    sets = sa.table("reading_set", sa.column("id"), sa.column("unread_mm", sa.JSON()))
    for set_id, gaps in left_out.items():
        connection.execute(sets.update().where(sets.c.id == set_id).values(unread_mm=gaps))


def downgrade() -> None:
    with op.batch_alter_table("reading_set") as kept:
        kept.drop_column("read_once")
        kept.drop_column("unread_mm")
    with op.batch_alter_table("shop") as shop:
        shop.drop_column("blade_order")
