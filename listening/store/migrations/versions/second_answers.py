"""Second answers stand apart from the events, so that whoever reads events reads no answer."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    """Move each second answer out of its event."""
    op.create_table(
        "second_answer",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
        sa.Column("sitting", sa.Text, nullable=False, index=True),
        sa.Column("trial", sa.Text, nullable=False),
        sa.Column("body", sa.Text, nullable=False),
        sa.Column("ref", sa.Text, unique=True),
    )
    kept = "FROM event WHERE kind = 'second answer' AND detail <> ''"
    op.execute(
        f"INSERT INTO second_answer (sitting, trial, body, ref) SELECT sitting, trial, detail, ref {kept}"
    )
    op.execute("UPDATE event SET detail = '' WHERE kind = 'second answer'")
