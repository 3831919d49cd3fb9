"""What a booth has taken down and the server has not confirmed yet: a SQLite file, each commit synced."""

import json
import os
import secrets
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import Boolean, Column, Integer, MetaData, Table, Text, delete, func, insert, select, update

from listening.store.engine import connect, plain_trouble, reading, writing

_metadata = MetaData()
_outbox = Table(
    "outbox",
    _metadata,
    Column("n", Integer, primary_key=True, autoincrement=True),
    Column("ref", Text, nullable=False, unique=True),
    Column("sitting", Text, nullable=False),
    Column("kind", Text, nullable=False),
    Column("body", Text, nullable=False),
)
_own = Table(  # the sittings begun here: their ids are known nowhere else but at the server
    "own",
    _metadata,
    Column("slot", Integer, primary_key=True, autoincrement=False),
    Column("simulated", Boolean, primary_key=True),
    Column("sitting", Text, nullable=False),
)
_booth = Table(  # one row: what tells this booth from others of the same login
    "booth",
    _metadata,
    Column("token", Text, primary_key=True),
)
MODE = 0o660  # the token in it is a secret: nobody else on this machine reads it, whatever the umask
ANSWER, EVENT = "answer", "event"
APART = "refused "  # before the kind of a message that the server will never take


@dataclass(frozen=True)
class Message:
    """One answer or event on its way."""

    ref: str
    """Made here, 128 bit: the server counts a message once, however often it is sent."""
    sitting: str
    kind: str
    body: dict[str, Any]


class Spool:
    """Messages in the order they were taken down."""

    def __init__(self, path: Path) -> None:
        self._place = str(path)
        with suppress(OSError):  # there already; or not to be written, which SQLite then says
            os.close(os.open(path, os.O_CREAT | os.O_EXCL, MODE))
        self._engine = connect(path, durable=True)
        with writing(self._engine, self._place) as connection:
            _metadata.create_all(connection)

    def token(self) -> str:
        """128 bit that the server knows this booth by; made on first use and never shown."""
        with writing(self._engine, self._place) as connection:
            known = connection.scalar(select(_booth.c.token))
            if known is None:
                known = secrets.token_hex(16)
                connection.execute(insert(_booth).values(token=known))
        return str(known)

    def put(self, sitting: str, kind: str, body: dict[str, Any]) -> None:
        """Keep a message; on disk when this returns."""
        values = {"ref": secrets.token_hex(16), "sitting": sitting, "kind": kind, "body": json.dumps(body)}
        with writing(self._engine, self._place) as connection:
            connection.execute(insert(_outbox).values(**values))

    def messages(self, sitting: str | None = None) -> list[Message]:
        """Everything that waits, oldest first; or what waits of one sitting."""
        query = select(_outbox.c.ref, _outbox.c.sitting, _outbox.c.kind, _outbox.c.body).order_by(_outbox.c.n)
        query = query.where(~_outbox.c.kind.startswith(APART))
        if sitting is not None:
            query = query.where(_outbox.c.sitting == sitting)
        with reading(self._engine, self._place) as connection:
            return [Message(r.ref, r.sitting, r.kind, json.loads(r.body)) for r in connection.execute(query)]

    def drop(self, ref: str) -> None:
        """Forget a message that the server has confirmed."""
        with writing(self._engine, self._place) as connection:
            connection.execute(delete(_outbox).where(_outbox.c.ref == ref))

    def set_apart(self, ref: str) -> None:
        """Keep a message that the server refused, and send it no more."""
        apart = update(_outbox).where(_outbox.c.ref == ref).values(kind=APART + _outbox.c.kind)
        with writing(self._engine, self._place) as connection:
            connection.execute(apart)

    def n_apart(self) -> int:
        """How many messages the server refused."""
        query = select(func.count()).select_from(_outbox).where(_outbox.c.kind.startswith(APART))
        with reading(self._engine, self._place) as connection:
            return int(connection.scalar(query) or 0)

    def forget(self, sittings: Sequence[str]) -> None:
        """Remove what waits here of sittings that were withdrawn, beyond recovery."""
        with writing(self._engine, self._place) as connection:
            connection.execute(delete(_outbox).where(_outbox.c.sitting.in_(sittings)))
            connection.execute(delete(_own).where(_own.c.sitting.in_(sittings)))
        with plain_trouble(self._place):
            raw = self._engine.raw_connection()
            raw.cursor().execute("VACUUM")
            raw.close()

    def keep_own(self, slot: int, sitting: str, *, simulated: bool) -> None:
        """Remember which sitting began here on a slot."""
        mine = (_own.c.slot == slot) & (_own.c.simulated == simulated)
        with writing(self._engine, self._place) as connection:
            connection.execute(delete(_own).where(mine))
            connection.execute(insert(_own).values(slot=slot, simulated=simulated, sitting=sitting))

    def own(self, slot: int, *, simulated: bool) -> str | None:
        """The sitting that last began here on a slot."""
        query = select(_own.c.sitting).where(_own.c.slot == slot, _own.c.simulated == simulated)
        with reading(self._engine, self._place) as connection:
            return connection.scalar(query)

    def count(self) -> int:
        """How many wait."""
        with reading(self._engine, self._place) as connection:
            query = select(func.count()).select_from(_outbox).where(~_outbox.c.kind.startswith(APART))
            return int(connection.scalar(query) or 0)

    def close(self) -> None:
        """Close the file; what was sent leaves no byte behind."""
        with plain_trouble(self._place):
            connection = self._engine.raw_connection()
            connection.cursor().execute("PRAGMA wal_checkpoint(TRUNCATE)")
            connection.close()
        self._engine.dispose()
