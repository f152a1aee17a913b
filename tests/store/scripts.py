"""Migrations to test with: the program's own, and one more that rebuilds tables."""

import shutil
from pathlib import Path

from app.store.book.migrating import newest_revision

MIGRATIONS = Path(__file__).resolve().parents[2] / "migrations"

NEXT = '''"""A made-up next step: tables with references are rebuilt, one is new.

Revision ID: 2999_next
Revises: {before}
"""

import sqlalchemy as sa
from alembic import op

revision = "2999_next"
down_revision = "{before}"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("customer", sa.Column("nickname", sa.Text(), nullable=False, server_default=""))
    rebuild = "always" if op.get_bind().dialect.name == "sqlite" else "auto"
    with op.batch_alter_table("job", recreate=rebuild) as batch:
        batch.add_column(sa.Column("rack", sa.Integer(), nullable=True))
    op.create_table("shelf", sa.Column("id", sa.Integer(), primary_key=True))
    op.execute("UPDATE job SET rack = number")
{more}
'''


def with_next(folder: Path, more: str = "") -> Path:
    """Copy the migrations and add one more step, with further lines of its own."""
    scripts = folder / "migrations"
    shutil.copytree(MIGRATIONS, scripts, ignore=shutil.ignore_patterns("__pycache__"))
    text = NEXT.format(before=newest_revision(MIGRATIONS), more=f"    {more}" if more else "")
    (scripts / "versions" / "2999_next.py").write_text(text)
    return scripts
