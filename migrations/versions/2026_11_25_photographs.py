"""Photographs of pieces."""

import sqlalchemy as sa
from alembic import op

revision = "20261125_photos"
down_revision = "20261125_depth_typed"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "photo",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("piece_id", sa.Integer(), nullable=False),
        sa.Column("job_id", sa.Integer(), nullable=True),
        sa.Column("moment", sa.String(length=20), nullable=False),
        sa.Column("view", sa.String(length=20), nullable=False),
        sa.Column("caption", sa.Text(), nullable=False),
        sa.Column("on_card", sa.Boolean(), nullable=False),
        sa.Column("name", sa.String(length=60), nullable=False),
        sa.Column("width_px", sa.Integer(), nullable=False),
        sa.Column("height_px", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.Column("struck_at", sa.DateTime(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_photo_job_id_job")),
        sa.ForeignKeyConstraint(["piece_id"], ["piece.id"], name=op.f("fk_photo_piece_id_piece")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_photo")),
        sa.UniqueConstraint("name", name=op.f("uq_photo_name")),
    )
    with op.batch_alter_table("photo", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_photo_job_id"), ["job_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_photo_piece_id"), ["piece_id"], unique=False)


def downgrade() -> None:
    op.drop_table("photo")
