"""Charges and payments of a job."""

import sqlalchemy as sa
from alembic import op

revision = "20261125_charges"
down_revision = "20261125_drafts"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "charge",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("label", sa.Text(), nullable=False),
        sa.Column("amount_minor", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.Column("struck_at", sa.DateTime(), nullable=True),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_charge_job_id_job")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_charge")),
    )
    op.create_table(
        "payment",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("paid_on", sa.Date(), nullable=False),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("way", sa.Text(), nullable=False),
        sa.Column("amount_minor", sa.Integer(), nullable=False),
        sa.Column("created_at", sa.DateTime(), nullable=False),
        sa.Column("struck_at", sa.DateTime(), nullable=True),
        sa.ForeignKeyConstraint(["job_id"], ["job.id"], name=op.f("fk_payment_job_id_job")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_payment")),
    )
    for table in ("charge", "payment"):
        with op.batch_alter_table(table, schema=None) as batch_op:
            batch_op.create_index(batch_op.f(f"ix_{table}_job_id"), ["job_id"], unique=False)


def downgrade() -> None:
    op.drop_table("payment")
    op.drop_table("charge")
