"""Several booths: slots that are claimed, leases on sittings, sites, events that count once."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Add the study and its slots, and give each slot to the sitting that has it."""
    op.create_table(
        "study",
        sa.Column("study_digest", sa.Text, primary_key=True),
        sa.Column("protocol_digest", sa.Text, nullable=False),
        sa.Column("lodged_at", sa.Text, nullable=False),
    )
    op.create_table(
        "slot",
        sa.Column("slot", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("simulated", sa.Boolean, primary_key=True),
        sa.Column("sitting", sa.Text),
    )
    op.execute("INSERT INTO slot (slot, simulated, sitting) SELECT slot, simulated, id FROM sitting")
    with op.batch_alter_table("sitting") as sitting:
        sitting.drop_constraint("one_sitting_a_slot", type_="unique")
        sitting.add_column(sa.Column("site", sa.Text, nullable=False, server_default=""))
        sitting.add_column(sa.Column("holder", sa.Text))
        sitting.add_column(sa.Column("held_until", sa.Float))
    with op.batch_alter_table("event") as event:
        event.add_column(sa.Column("ref", sa.Text))
        event.create_unique_constraint("one_event_a_ref", ["ref"])
