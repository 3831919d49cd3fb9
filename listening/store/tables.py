"""The tables: the study, its slots, sittings, their answers, what happened, and the ledger."""

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

study = Table(
    "study",
    metadata,
    Column("study_digest", Text, primary_key=True),
    Column("protocol_digest", Text, nullable=False),
    Column("published_at", Text, nullable=False),
)

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
    Column("site", Text, nullable=False, server_default=""),  # empty: one site only
    Column("holder", Text),  # which process has it open: several booths on one server
    Column("held_until", Float),  # seconds since 1970 on the server's clock
    Column("links", Integer, nullable=False, server_default="0"),  # how many rows its chain has
    Column("head", Text, nullable=False, server_default=""),  # the hash of the last one; empty: none yet
    UniqueConstraint("listener", "simulated", name="one_sitting_a_listener"),
)

slot = Table(
    "slot",
    metadata,
    Column("slot", Integer, primary_key=True, autoincrement=False),
    Column("simulated", Boolean, primary_key=True),
    Column("sitting", Text),  # who has it now; empty: free
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
    Column("link", Integer),  # its place in the sitting's chain; empty: from before there were chains
    Column("chain", Text),
    UniqueConstraint("sitting", "trial", name="one_answer_a_trial"),
)

second_answer = Table(  # to a trial that had another one already; counts for nothing, read by analysts only
    "second_answer",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=True),
    Column("sitting", Text, nullable=False, index=True),
    Column("trial", Text, nullable=False),
    Column("body", Text, nullable=False),
    Column("ref", Text, unique=True),
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
    Column("link", Integer),
    Column("chain", Text),
    Column("ref", Text, unique=True),  # made by the booth, so that a repeated message counts once
)

ledger = Table(  # what happened to whole sittings; see chain.py
    "ledger",
    metadata,
    Column("n", Integer, primary_key=True, autoincrement=False),
    Column("at", Text, nullable=False),
    Column("kind", Text, nullable=False),
    Column("sitting", Text, nullable=False),  # the hash of its id; empty: about the store
    Column("detail", Text, nullable=False),
    Column("chain", Text, nullable=False),
)
