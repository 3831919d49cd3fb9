"""The tables: sittings, their answers, and what happened."""

from sqlalchemy import (
    Boolean,
    Column,
    Float,
    ForeignKey,
    Integer,
    MetaData,
    Table,
    Text,
    UniqueConstraint,
)

metadata = MetaData()

sitting = Table(
    "sitting",
    metadata,
    Column("id", Text, primary_key=True),
    Column("listener", Text, nullable=False),
    Column("slot", Integer, nullable=False),
    Column("simulated", Boolean, nullable=False),
    Column("study_digest", Text, nullable=False),
    Column("started_at", Text, nullable=False),
    Column("finished_at", Text),
    Column("heartbeat_at", Text),
    UniqueConstraint("slot", "simulated", name="one_sitting_a_slot"),
    UniqueConstraint("listener", "simulated", name="one_sitting_a_listener"),
)

answer = Table(
    "answer",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=True),
    Column("sitting", Text, ForeignKey("sitting.id"), nullable=False),
    Column("trial", Text, nullable=False),
    Column("attribute", Text, nullable=False),
    Column("task", Text, nullable=False),
    Column("clips", Text, nullable=False),  # codes, separated by a space
    Column("answer", Text, nullable=False),
    Column("response_s", Float, nullable=False),
    Column("plays", Integer, nullable=False),
    Column("practice", Boolean, nullable=False),
    Column("answered_at", Text, nullable=False),
    UniqueConstraint("sitting", "trial", name="one_answer_a_trial"),
)

event = Table(
    "event",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=True),
    Column("sitting", Text, index=True),  # empty: about the station, not about one sitting
    Column("at", Text, nullable=False),
    Column("kind", Text, nullable=False),
    Column("trial", Text),
    Column("detail", Text, nullable=False, default=""),
)
