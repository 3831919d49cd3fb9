"""Each answer and event carries its place in its sitting's chain; a ledger of whole sittings."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    """Add the links, empty for what was written before, and the ledger."""
    with op.batch_alter_table("sitting") as sitting:
        sitting.add_column(sa.Column("links", sa.Integer, nullable=False, server_default="0"))
        sitting.add_column(sa.Column("head", sa.Text, nullable=False, server_default=""))
    for name in ("answer", "event"):
        with op.batch_alter_table(name) as table:
            table.add_column(sa.Column("link", sa.Integer))
            table.add_column(sa.Column("chain", sa.Text))
    op.create_table(
        "ledger",
        sa.Column("n", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("at", sa.Text, nullable=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("sitting", sa.Text, nullable=False),
        sa.Column("detail", sa.Text, nullable=False),
        sa.Column("chain", sa.Text, nullable=False),
    )
