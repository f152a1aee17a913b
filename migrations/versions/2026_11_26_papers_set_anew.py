"""What the papers say of the shop: its mark, an address for codes, tax, how to pay, the next look.

Care for each material is the program's own now; where a shop kept the words it began with, they
give way to words that hold for every material. The same holds for the terms.
"""

import sqlalchemy as sa
from alembic import op

revision = "20261126_papers_anew"
down_revision = "20261126_digests"
branch_labels = None
depends_on = None

OLD_CARE = (
    "Swab it dry after playing and keep it out of the sun. Wash it with lukewarm water and a mild "
    "soap, never hot: hot water turns hard rubber. Take the reed off when you put it away. "
    "Have the facing looked at again after two years, or sooner when reeds that used to work no "
    "longer do. Clean it before you play: it comes from a bench."
)
NEW_CARE = (
    "Clean it before you play: it comes from a bench. Swab it dry after playing, and take the "
    "reed off when you put it away."
)
OLD_TERMS = (
    "Material can only be taken away, so work agreed and done can’t be undone. "
    "We take the care of our own pieces; our liability ends at the declared value. "
    "Pieces not collected within six months of notice may be returned by post at the owner’s cost."
)
NEW_TERMS = (
    "Material can only be taken away, so work agreed and done can’t be undone. "
    "We take the same care of it as of our own; our liability ends at the declared value. "
    "Pieces not collected within six months of notice may be returned by post at the owner’s cost."
)
TEXTS = ("mark", "papers_address", "tax_name", "pay_words")


def upgrade() -> None:
    for name in TEXTS:
        op.add_column("shop", sa.Column(name, sa.Text(), nullable=False, server_default=""))
    op.add_column("shop", sa.Column("tax_percent", sa.Double(), nullable=True))
    op.add_column("shop", sa.Column("pay_days", sa.Integer(), nullable=True))
    op.add_column(
        "shop", sa.Column("look_again_months", sa.Integer(), nullable=True, server_default="24")
    )
    shop = sa.table("shop", sa.column("care_text", sa.Text), sa.column("terms", sa.Text))
    for column, old, new in (
        (shop.c.care_text, OLD_CARE, NEW_CARE),
        (shop.c.terms, OLD_TERMS, NEW_TERMS),
    ):
        op.execute(shop.update().where(column == old).values({column.name: new}))


def downgrade() -> None:
    with op.batch_alter_table("shop") as table:
        for name in (*TEXTS, "tax_percent", "pay_days", "look_again_months"):
            table.drop_column(name)
