"""The first form of the store: sittings, answers, events."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make the three tables."""
    op.create_table(
        "sitting",
        sa.Column("id", sa.Text, primary_key=True),
        sa.Column("listener", sa.Text, nullable=False),
        sa.Column("slot", sa.Integer, nullable=False),
        sa.Column("simulated", sa.Boolean, nullable=False),
        sa.Column("study_digest", sa.Text, nullable=False),
        sa.Column("started_at", sa.Text, nullable=False),
        sa.Column("finished_at", sa.Text),
        sa.Column("heartbeat_at", sa.Text),
        sa.UniqueConstraint("slot", "simulated", name="one_sitting_a_slot"),
        sa.UniqueConstraint("listener", "simulated", name="one_sitting_a_listener"),
    )
    op.create_table(
        "answer",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
        sa.Column("sitting", sa.Text, sa.ForeignKey("sitting.id"), nullable=False),
        sa.Column("trial", sa.Text, nullable=False),
        sa.Column("attribute", sa.Text, nullable=False),
        sa.Column("task", sa.Text, nullable=False),
        sa.Column("clips", sa.Text, nullable=False),
        sa.Column("answer", sa.Text, nullable=False),
        sa.Column("response_s", sa.Float, nullable=False),
        sa.Column("plays", sa.Integer, nullable=False),
        sa.Column("practice", sa.Boolean, nullable=False),
        sa.Column("answered_at", sa.Text, nullable=False),
        sa.UniqueConstraint("sitting", "trial", name="one_answer_a_trial"),
    )
    op.create_table(
        "event",
        sa.Column("id", sa.Integer, primary_key=True, autoincrement=True),
        sa.Column("sitting", sa.Text, index=True),
        sa.Column("at", sa.Text, nullable=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("trial", sa.Text),
        sa.Column("detail", sa.Text, nullable=False),
    )
