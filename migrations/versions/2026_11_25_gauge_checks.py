"""gauge checks, repeatability studies, a blade set for each family.

Revision ID: 20261125_gauges
Revises: 20261125_begun_as
"""

import sqlalchemy as sa
from alembic import op

revision = "20261125_gauges"
down_revision = "20261125_begun_as"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "family_blade_set",
        sa.Column("family", sa.String(length=40), nullable=False),
        sa.Column("blade_set_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["blade_set_id"],
            ["blade_set.id"],
            name=op.f("fk_family_blade_set_blade_set_id_blade_set"),
        ),
        sa.PrimaryKeyConstraint("family", name=op.f("pk_family_blade_set")),
    )
    op.create_table(
        "gauge_check",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("gauge_id", sa.Integer(), nullable=False),
        sa.Column("checked_on", sa.Date(), nullable=False),
        sa.Column("mark_typed", sa.Text(), nullable=False),
        sa.Column("mark_mm", sa.Double(), nullable=True),
        sa.Column("typed", sa.Text(), nullable=False),
        sa.Column("scale", sa.String(length=40), nullable=False),
        sa.Column("actual_mm", sa.Double(), nullable=False),
        sa.Column("u_mm", sa.Double(), nullable=False),
        sa.Column("method", sa.Text(), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.Column("struck_at", sa.DateTime(), nullable=True),
        sa.ForeignKeyConstraint(
            ["gauge_id"], ["gauge.id"], name=op.f("fk_gauge_check_gauge_id_gauge")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_gauge_check")),
    )
    with op.batch_alter_table("gauge_check", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_gauge_check_gauge_id"), ["gauge_id"], unique=False)

    op.create_table(
        "study",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("gauge_id", sa.Integer(), nullable=False),
        sa.Column("read_on_id", sa.Integer(), nullable=True),
        sa.Column("scale", sa.String(length=40), nullable=False),
        sa.Column("done_on", sa.Date(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("adopted_on", sa.Date(), nullable=True),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(["gauge_id"], ["gauge.id"], name=op.f("fk_study_gauge_id_gauge")),
        sa.ForeignKeyConstraint(
            ["read_on_id"], ["gauge.id"], name=op.f("fk_study_read_on_id_gauge")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_study")),
    )
    with op.batch_alter_table("study", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_study_gauge_id"), ["gauge_id"], unique=False)

    op.create_table(
        "study_reading",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("study_id", sa.Integer(), nullable=False),
        sa.Column("piece_place", sa.Integer(), nullable=False),
        sa.Column("piece", sa.Text(), nullable=False),
        sa.Column("turn", sa.Integer(), nullable=False),
        sa.Column("typed", sa.Text(), nullable=False),
        sa.Column("value_mm", sa.Double(), nullable=False),
        sa.ForeignKeyConstraint(
            ["study_id"], ["study.id"], name=op.f("fk_study_reading_study_id_study")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_study_reading")),
    )
    with op.batch_alter_table("study_reading", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_study_reading_study_id"), ["study_id"], unique=False)

    # one set may now serve several families
    op.execute(
        "INSERT INTO family_blade_set (family, blade_set_id) "
        "SELECT family, min(id) FROM blade_set WHERE family <> '' GROUP BY family"
    )
    with op.batch_alter_table("blade_set", schema=None) as batch_op:
        batch_op.add_column(sa.Column("version", sa.Integer(), server_default="1", nullable=False))
        batch_op.drop_column("family")

    with op.batch_alter_table("gauge", schema=None) as batch_op:
        batch_op.add_column(sa.Column("version", sa.Integer(), server_default="1", nullable=False))


def downgrade() -> None:
    with op.batch_alter_table("gauge", schema=None) as batch_op:
        batch_op.drop_column("version")

    with op.batch_alter_table("blade_set", schema=None) as batch_op:
        batch_op.add_column(
            sa.Column("family", sa.String(length=40), server_default="", nullable=False)
        )
        batch_op.drop_column("version")

    with op.batch_alter_table("study_reading", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_study_reading_study_id"))

    op.drop_table("study_reading")
    with op.batch_alter_table("study", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_study_gauge_id"))

    op.drop_table("study")
    with op.batch_alter_table("gauge_check", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_gauge_check_gauge_id"))

    op.drop_table("gauge_check")
    op.drop_table("family_blade_set")
