"""A study is published to a server; lodging was the earlier word for it and for a deposit."""

from alembic import op

revision = "0005"
down_revision = "0004"


def upgrade() -> None:
    """Call the time by today's word."""
    with op.batch_alter_table("study") as study:
        study.alter_column("lodged_at", new_column_name="published_at")
