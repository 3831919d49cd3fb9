"""A booth's side of a server: slots and leases by the server's functions, answers through the local spool.

The booth's user may read no table, and shows a token that lies in the spool alone. An answer is on the
booth's own disk when `record` returns; a thread sends it on at once, or when the server is back, and the
server counts it once.
"""

import json
import secrets
import time
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager
from dataclasses import replace
from pathlib import Path
from typing import Any

from sqlalchemy import Engine, func, select, text
from sqlalchemy.exc import IntegrityError

from listening.errors import StudyError
from listening.records.dealt.answer import Answer
from listening.records.forms.environment import environment
from listening.store import chain, claims, leases
from listening.store.engine import NotReached, connect, reading, writing
from listening.store.sender import Sender
from listening.store.spool import ANSWER, EVENT, Message, Spool
from listening.store.store import (
    BEGAN,
    FINISHED,
    EventRow,
    SittingRow,
    SlotUse,
    answer_values,
    listener_sits,
    no_slot_is_free,
    utc_now,
)

CLOSED = "closed"  # the message that a sitting is complete
OF_EVENT = ("at", "kind", "trial", "detail")
CLAIM_TRIES = 3
CLAIM_PAUSE_S = 0.5


class Booth:
    """Does for a sitting what `Store` does, with a booth's rights only."""

    def __init__(
        self,
        engine: Engine,
        place: str,
        spool: Spool,
        now: Callable[[], str] = utc_now,
        *,
        lease_s: float = leases.LEASE_S,
    ) -> None:
        self._engine = engine
        self._place = place
        self._spool = spool
        self._now = now
        self._lease_s = lease_s
        self._holder = secrets.token_hex(8)
        self._token = spool.token()
        self._taken_down: set[tuple[str, str]] = set()
        self._heads: dict[str, tuple[int, str]] = {}
        self._sender = Sender(spool, self._send, self._beat)

    def start_sitting(
        self, listener: str, *, slots: Sequence[int], study_digest: str, simulated: bool = False
    ) -> SittingRow:
        """A new sitting on the first free slot of `slots`; see `Store.start_sitting`."""
        row = SittingRow(secrets.token_hex(16), listener, 0, simulated, study_digest, self._now(), None, None)
        values = {"id": row.id, "listener": listener, "study_digest": study_digest, "simulated": simulated}
        values |= {"started_at": row.started_at, "holder": self._holder}
        given = self._claim(values, slots)
        if given is None:
            raise StudyError(no_slot_is_free(slots))
        self._spool.keep_own(given, row.id, simulated=simulated)
        row = replace(row, slot=given)
        self._heads[row.id] = (0, chain.genesis(vars(row)))
        self.note(row.id, BEGAN, detail=environment())
        return row

    def _claim(self, values: dict[str, Any], slots: Sequence[int]) -> int | None:
        for n_try in range(CLAIM_TRIES):
            try:
                with writing(self._engine, self._place) as connection:
                    return claims.claim(connection, values, slots, lease_s=self._lease_s, token=self._token)
            except NotReached:  # whether it was given is unknown: the same id asks again
                if n_try == CLAIM_TRIES - 1:
                    raise
                time.sleep(CLAIM_PAUSE_S)
            except IntegrityError:
                raise StudyError(listener_sits(str(values["listener"]))) from None
        return None

    def resume(
        self, *, listener: str | None = None, slot: int | None = None, simulated: bool = False
    ) -> SittingRow | None:
        """The sitting of that listener, or the one that this booth began on that slot, or None.

        Raises
        ------
        StudyError
            Another booth has it open.
        """
        sitting = None if slot is None else self._spool.own(slot, simulated=simulated)
        if listener is None and sitting is None:
            return None
        asked = {"listener": listener, "sitting": sitting, "simulated": simulated, "holder": self._holder}
        query = text("SELECT * FROM booth_find(:listener, :sitting, :simulated, :holder, :token)")
        with reading(self._engine, self._place) as connection:
            row = connection.execute(query, asked | {"token": self._token}).one_or_none()
        if row is None:
            return None
        found = SittingRow(**row._mapping)
        self._heads[found.id] = self._reached(found)
        return found

    def _reached(self, row: SittingRow) -> tuple[int, str]:
        """Where a sitting's chain ends: at the server, or further on in what waits here."""
        query = text("SELECT * FROM booth_head(:sitting, :token)")
        with reading(self._engine, self._place) as connection:
            there = connection.execute(query, self._about(row.id)).one_or_none()
        ends: list[tuple[int, str]] = [(0, chain.genesis(vars(row)))] + (
            [(there.links, there.head)] if there else []
        )
        waiting = (m.body for m in self._spool.messages(row.id) if m.body.get("link"))
        ends += [(body["link"], body["chain"]) for body in waiting]
        return max((end for end in ends if end[1]), key=lambda end: end[0])

    def head(self, sitting: str) -> str:
        """The hash that a sitting's chain has reached; empty without one."""
        return self._heads.get(sitting, (0, ""))[1]

    def _linked(self, sitting: str, kind: str, body: dict[str, Any]) -> dict[str, Any]:
        """A message with its place in the chain."""
        place, before = self._heads[sitting]
        digest = chain.link(before, place + 1, kind, {"sitting": sitting, **body})
        return body | {"link": place + 1, "chain": digest}

    def _put(self, sitting: str, kind: str, body: dict[str, Any]) -> None:
        """Keep a message; the chain goes on only from one that is on disk."""
        self._spool.put(sitting, kind, body)
        if "link" in body:
            self._heads[sitting] = (body["link"], body["chain"])

    def hold(self, sitting: str) -> AbstractContextManager[object]:
        """The sitting kept from every other booth until released, or until a dead booth's lease is over."""
        return leases.take(
            self._engine, self._place, sitting, holder=self._holder, lease_s=self._lease_s, token=self._token
        )

    def slot_use(self, *, simulated: bool) -> list[SlotUse]:
        """Which slots were given, and when their sittings were last alive; not to whom."""
        query = text("SELECT * FROM booth_slots(:simulated)")
        with reading(self._engine, self._place) as connection:
            return [SlotUse(*row) for row in connection.execute(query, {"simulated": simulated})]

    def record(self, answer: Answer) -> None:
        """Keep one answer; on this booth's disk when this returns, and soon at the server."""
        key = (answer.sitting, answer.trial)
        if key in self._taken_down:
            raise StudyError(f"sitting {answer.sitting}: trial {answer.trial} has an answer already")
        body = self._linked(answer.sitting, chain.ANSWER, answer_values(answer))
        self._put(answer.sitting, ANSWER, body)
        self._taken_down.add(key)
        self._sender.wake()

    def note(self, sitting: str | None, kind: str, *, trial: str | None = None, detail: str = "") -> None:
        """Keep that something happened in a sitting."""
        body: dict[str, Any] = {"at": self._now(), "kind": kind, "trial": trial, "detail": detail}
        if sitting in self._heads and kind != CLOSED:
            body = self._linked(str(sitting), chain.EVENT, body)
        self._put(sitting or "", EVENT, body)
        self._sender.wake()

    def void(self, sitting: str, trial: str, reason: str) -> None:
        """Write down that a trial did not count and is asked again."""
        self.note(sitting, "void", trial=trial, detail=reason)

    def finish(self, sitting: str) -> None:
        """Mark a sitting as complete."""
        self.note(sitting, FINISHED)
        self.note(sitting, CLOSED)

    def beat(self, sitting: str) -> None:
        """Say that the sitting is alive, which renews its lease; lost when the server is away."""
        self._sender.beat(sitting)

    def answered(self, sitting: str) -> dict[str, bool]:
        """The trials of a sitting that have an answer, here or at the server, and whether it was practice."""
        waiting = [m.body for m in self._spool.messages(sitting) if m.kind == ANSWER]
        query = text("SELECT * FROM booth_answered(:sitting, :token)")
        with reading(self._engine, self._place) as connection:
            there = {row.trial: row.practice for row in connection.execute(query, self._about(sitting))}
        done = there | {body["trial"]: body["practice"] for body in waiting}
        self._taken_down |= {(sitting, trial) for trial in done}
        return done

    def events(self, sitting: str | None = None) -> list[EventRow]:
        """What happened in one sitting; some may stand twice while they are being sent."""
        waiting = [m for m in self._spool.messages(sitting) if m.kind == EVENT and m.body["kind"] != CLOSED]
        query = text("SELECT * FROM booth_events(:sitting, :token)")
        with reading(self._engine, self._place) as connection:
            there = [EventRow(*row) for row in connection.execute(query, self._about(sitting))]
        return there + [EventRow(m.sitting, **{k: m.body[k] for k in OF_EVENT}) for m in waiting]

    def waiting(self) -> int:
        """How many messages stay here because the server cannot be reached now."""
        return self._sender.stuck()

    def refused(self) -> int:
        """How many messages the server will never take; they stay in the spool."""
        return self._spool.n_apart()

    def flush(self, within_s: float) -> int:
        """Wait until everything is sent, at most so long; how many messages still wait."""
        return self._sender.flush(within_s)

    def close(self, within_s: float = 5.0) -> None:
        """Send what can be sent and close; the rest is sent by the next sitting at this booth."""
        self._sender.flush(within_s)
        self._sender.stop()
        self._spool.close()
        self._engine.dispose()

    # the sender's thread calls these

    def _send(self, message: Message) -> None:
        with writing(self._engine, self._place) as connection:
            if message.kind == EVENT:
                connection.execute(select(_note(message.sitting, message.ref, message.body, self._token)))
                return
            body = json.dumps(message.body | {"ref": message.ref})
            record = text("SELECT booth_record(CAST(:body AS jsonb), :token)")
            connection.execute(record, {"body": body, "token": self._token})

    def _beat(self, sitting: str) -> None:
        with writing(self._engine, self._place) as connection:
            lease = (self._holder, self._now(), self._lease_s, self._token)
            connection.execute(select(func.booth_beat(sitting, *lease)))

    def _about(self, sitting: str | None) -> dict[str, str | None]:
        return {"sitting": sitting, "token": self._token}


def open_booth(place: str, spool: Path, *, now: Callable[[], str] = utc_now) -> Booth:
    """A booth on the server at `place`, its unsent messages in the file `spool`."""
    return Booth(connect(place, durable=True), place, Spool(spool), now)


def _note(sitting: str, ref: str, body: dict[str, Any], token: str) -> Any:
    told = (body[name] for name in OF_EVENT)
    return func.booth_note(sitting, ref, *told, body.get("link"), body.get("chain"), token)
