"""Papers of pieces too, and the files an issued paper came with."""

import sqlalchemy as sa
from alembic import op

revision = "20261125_papers"
down_revision = "20261125_planning"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "slip_file",
        sa.Column("slip_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=60), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["slip_id"], ["slip.id"], name=op.f("fk_slip_file_slip_id_slip")),
        sa.PrimaryKeyConstraint("slip_id", "name", name=op.f("pk_slip_file")),
    )
    op.execute(
        "INSERT INTO slip_file (slip_id, name, content) "
        "SELECT id, 'picture.svg', picture FROM slip WHERE picture IS NOT NULL"
    )
    with op.batch_alter_table("slip", schema=None) as batch_op:
        batch_op.add_column(sa.Column("piece_id", sa.Integer(), nullable=True))
        batch_op.add_column(
            sa.Column("sheet", sa.String(length=40), server_default="paper-1.css", nullable=False)
        )
        batch_op.alter_column("job_id", existing_type=sa.Integer(), nullable=True)
        batch_op.alter_column(
            "paper", existing_type=sa.String(length=10), type_=sa.String(length=20)
        )
        batch_op.drop_column("picture")
    op.execute("UPDATE slip SET piece_id = (SELECT piece_id FROM job WHERE job.id = slip.job_id)")
    with op.batch_alter_table("slip", schema=None) as batch_op:
        batch_op.alter_column("piece_id", existing_type=sa.Integer(), nullable=False)
        batch_op.create_foreign_key(
            batch_op.f("fk_slip_piece_id_piece"), "piece", ["piece_id"], ["id"]
        )
        batch_op.create_index(batch_op.f("ix_slip_piece_id"), ["piece_id"], unique=False)


def downgrade() -> None:
    raise NotImplementedError("Papers of pieces would be lost; restore a backup instead.")
