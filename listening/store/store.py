"""The answer store: sittings are claimed, answers recorded, and read back for the analysis."""

import hashlib
import secrets
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Engine, Row, Select, extract, func, insert, select, update
from sqlalchemy.exc import IntegrityError

from listening.errors import MissingFile, StudyError
from listening.records.dealt.answer import Answer
from listening.records.forms.environment import environment
from listening.store import address, chain, checked, claims, leases, removal, revised, schema, tables
from listening.store.engine import connect, reading, writing
from listening.store.hold import hold


def utc_now() -> str:
    """The wall clock as ISO 8601, UTC, to the millisecond."""
    return datetime.now(UTC).isoformat(timespec="milliseconds")


@dataclass(frozen=True)
class SittingRow:
    """One listener's run, as stored."""

    id: str
    listener: str
    slot: int
    simulated: bool
    study_digest: str
    started_at: str
    finished_at: str | None
    heartbeat_at: str | None


@dataclass(frozen=True)
class EventRow:
    """Something that happened."""

    sitting: str | None
    at: str
    kind: str
    trial: str | None
    detail: str


@dataclass(frozen=True)
class SlotUse:
    """A slot that was given, and whether its sitting lives; not to whom."""

    slot: int
    finished: bool
    alive_at: str
    """Last sign of life, UTC, ISO 8601."""
    study_digest: str = ""
    """Of the plan it began under; empty where a server gave the slot: then it is the present one."""


BEGAN = "began"  # the first event of a sitting says which program it began with
FINISHED = "finished"
CHUNK_ROWS = 20_000
_OF_SITTING = ("listener", "slot", "simulated", "site")  # fields of an answer that its sitting holds
_SITTING = [tables.sitting.c[name] for name in SittingRow.__dataclass_fields__]


class Store:
    """Every write is durable when the call returns (SQLite: WAL, synchronous=FULL)."""

    def __init__(
        self,
        engine: Engine,
        place: str,
        path: Path | None,
        now: Callable[[], str],
        *,
        lease_s: float = leases.LEASE_S,
    ) -> None:
        self._engine = engine
        self._place = place
        self._path = path
        self._now = now
        self._lease_s = lease_s
        self._holder = secrets.token_hex(8)

    def start_sitting(
        self, listener: str, *, slots: Sequence[int], study_digest: str, simulated: bool = False
    ) -> SittingRow:
        """A new sitting on the first of `slots` that nobody has; one step, never given to two.

        Raises
        ------
        StudyError
            All slots are taken, or this listener has a sitting already.
        """
        row = SittingRow(
            _new_id(listener, study_digest, simulated),
            listener,
            0,
            simulated,
            study_digest,
            self._now(),
            None,
            None,
        )
        values = {k: v for k, v in vars(row).items() if k not in ("slot", "finished_at", "heartbeat_at")}
        try:
            with writing(self._engine, self._place) as connection:
                claims.offer(connection, slots, simulated=simulated)
                given = claims.claim(
                    connection, {**values, "holder": self._holder}, slots, lease_s=self._lease_s
                )
                if given is not None:
                    began = {"sitting": row.id, "at": row.started_at, "kind": BEGAN, "detail": environment()}
                    chain.append(connection, chain.EVENT, {**began, "trial": None})
        except IntegrityError as error:
            raise StudyError(listener_sits(listener)) from error
        if given is None:
            raise StudyError(no_slot_is_free(slots))
        return replace(row, slot=given)

    def resume(
        self, *, listener: str | None = None, slot: int | None = None, simulated: bool = False
    ) -> SittingRow | None:
        """The sitting of that listener or slot, or None."""
        column, value = (tables.sitting.c.listener, listener) if listener else (tables.sitting.c.slot, slot)
        with reading(self._engine, self._place) as connection:
            query = select(tables.sitting).where(column == value, tables.sitting.c.simulated == simulated)
            latest = query.order_by(tables.sitting.c.started_at.desc()).limit(1)  # of a slot given again
            row = connection.execute(latest).one_or_none()
        return None if row is None else self._sitting(row)

    def hold(self, sitting: str) -> AbstractContextManager[object]:
        """The sitting kept from every other process until released or this process ends.

        Raises
        ------
        StudyError
            Another process has it.
        """
        if self._path is None:
            return leases.take(self._engine, self._place, sitting, holder=self._holder, lease_s=self._lease_s)
        return hold(self._path.with_name(f"sitting-{sitting}.lock"), sitting)

    def record(self, answer: Answer) -> None:
        """Store one answer; on disk when this returns.

        Raises
        ------
        StudyError
            The trial has an answer already.
        """
        values = answer_values(answer)
        try:
            with writing(self._engine, self._place) as connection:
                is_kept = chain.append(connection, chain.ANSWER, values)
        except IntegrityError:
            is_kept = False
        if not is_kept:
            raise StudyError(
                f"sitting {answer.sitting}: trial {answer.trial} has an answer already, "
                "or the sitting was withdrawn"
            )

    def note(self, sitting: str | None, kind: str, *, trial: str | None = None, detail: str = "") -> None:
        """Write down that something happened; it also counts as a heartbeat of the sitting."""
        at = self._now()
        with writing(self._engine, self._place) as connection:
            row = {"sitting": sitting, "at": at, "kind": kind, "trial": trial, "detail": detail}
            if sitting is None:
                connection.execute(insert(tables.event).values(**row))
            else:
                chain.append(connection, chain.EVENT, row)

    def beat(self, sitting: str) -> None:
        """Write down that the sitting is alive."""
        with writing(self._engine, self._place) as connection:
            if self._path is None:
                lease = (self._holder, self._now(), self._lease_s, None)
                connection.execute(select(func.booth_beat(sitting, *lease)))
                return
            where = tables.sitting.c.id == sitting
            connection.execute(update(tables.sitting).where(where).values(heartbeat_at=self._now()))

    def void(self, sitting: str, trial: str, reason: str) -> None:
        """Write down that a trial did not count and is asked again."""
        self.note(sitting, "void", trial=trial, detail=reason)

    def finish(self, sitting: str) -> None:
        """Mark a sitting as complete; its head goes into the ledger."""
        at = self._now()
        done = {"sitting": sitting, "at": at, "kind": FINISHED, "trial": None, "detail": ""}
        where = tables.sitting.c.id == sitting
        with writing(self._engine, self._place) as connection:
            if chain.append(connection, chain.EVENT, done):
                connection.execute(update(tables.sitting).where(where).values(finished_at=at))
                reached = connection.scalar(select(tables.sitting.c.head).where(where))
                chain.write_down(connection, at=at, kind=chain.FINISHED, sitting=sitting, detail=str(reached))

    def head(self, sitting: str) -> str:
        """The hash that a sitting's chain has reached; empty without one."""
        query = select(tables.sitting.c.head).where(tables.sitting.c.id == sitting)
        with reading(self._engine, self._place) as connection:
            return str(connection.scalar(query) or "")

    def ledger_head(self) -> str:
        """The hash of the ledger's last row; empty before anybody sat."""
        query = select(tables.ledger.c.chain).order_by(tables.ledger.c.n.desc()).limit(1)
        with reading(self._engine, self._place) as connection:
            return str(connection.scalar(query) or "")

    @property
    def marks_openings(self) -> bool:
        """Whether openings go into the ledger: a file's, not a server's, where analysts only read."""
        return self._path is not None

    def mark_opened(self, detail: str) -> None:
        """Write into the ledger that the answers were opened; nothing on a server, where analysts may not."""
        if self.marks_openings:
            with writing(self._engine, self._place) as connection:
                chain.write_down(connection, at=self._now(), kind=chain.OPENED, detail=detail)

    def withdraw(self, listener: str) -> list[str]:
        """Remove all of a listener's sittings beyond recovery; returns their ids.

        Overwrites the rows (secure delete), empties the write-ahead log, and notes that a removal happened
        without saying whose.
        """
        return removal.remove(self._engine, self._place, listener, self._now())

    def forget(self, *, just_removed: bool) -> list[str]:
        """Overwrite what removed rows leave in the store's files; what is left, and who must do what."""
        return removal.forget(self._engine, self._place, just_removed=just_removed)

    def sittings(self) -> list[SittingRow]:
        """All sittings, in the order they began."""
        with reading(self._engine, self._place) as connection:
            rows = connection.execute(select(*_SITTING).order_by(tables.sitting.c.started_at))
            return [self._sitting(row) for row in rows]

    def n_held(self) -> int:
        """How many sittings are open at booths, by the server's clock; 0 for a file: it knows no leases."""
        if self._path is not None:
            return 0
        with reading(self._engine, self._place) as connection:
            held_until = tables.sitting.c.held_until > extract("epoch", func.clock_timestamp())
            held = tables.sitting.c.holder.is_not(None) & held_until
            return int(connection.scalar(select(func.count()).where(held)) or 0)

    def hand_over(self, listener: str) -> None:
        """Let any booth take up the unfinished sitting of a listener, wherever it began.

        Raises
        ------
        StudyError
            There is no such sitting.
        """
        mine = (tables.sitting.c.listener == listener) & tables.sitting.c.finished_at.is_(None)
        with writing(self._engine, self._place) as connection:
            rows = connection.execute(select(tables.sitting.c.id, tables.sitting.c.holder).where(mine)).all()
            for row in rows:
                free = {"holder": leases.handed_over(row.holder), "held_until": None}
                connection.execute(update(tables.sitting).where(tables.sitting.c.id == row.id).values(**free))
        if not rows:
            raise StudyError(f"{self._place}: no unfinished sitting of {listener}; look at the codes first")

    def slot_use(self, *, simulated: bool) -> list[SlotUse]:
        """Which slots were given, and when their sittings were last alive."""
        rows = (row for row in self.sittings() if row.simulated == simulated)
        return [
            SlotUse(r.slot, r.finished_at is not None, r.heartbeat_at or r.started_at, r.study_digest)
            for r in rows
        ]

    def events(self, sitting: str | None = None) -> list[EventRow]:
        """What happened, oldest first: in one sitting, or (None) everything."""
        columns = [tables.event.c[name] for name in EventRow.__dataclass_fields__]
        query = select(*columns).order_by(tables.event.c.id)
        if sitting is not None:
            query = query.where(tables.event.c.sitting == sitting)
        with reading(self._engine, self._place) as connection:
            found = [EventRow(*row) for row in connection.execute(query)]
        for event in found:
            checked.row(self._place, "event", vars(event), may_lack=("sitting", "trial"))
        return found

    def n_answers(self) -> dict[str, int]:
        """How many counted answers each sitting holds; practice left out."""
        query = (
            select(tables.answer.c.sitting, func.count())
            .where(~tables.answer.c.practice)
            .group_by(tables.answer.c.sitting)
        )
        with reading(self._engine, self._place) as connection:
            return {str(sitting): int(n) for sitting, n in connection.execute(query)}

    def answered(self, sitting: str) -> dict[str, bool]:
        """The trials of a sitting that have an answer, in the order given, and whether each was practice."""
        columns = (tables.answer.c.trial, tables.answer.c.practice)
        query = select(*columns).where(tables.answer.c.sitting == sitting).order_by(tables.answer.c.id)
        with reading(self._engine, self._place) as connection:
            return {str(trial): bool(practice) for trial, practice in connection.execute(query)}

    def waiting(self) -> int:
        """How many messages are kept here until the server can be reached: none, this is the store itself."""
        return 0

    def answers(self, sitting: str | None = None) -> list[Answer]:
        """All answers in the order they were given, practice included; or those of one sitting.

        Of a trial that was answered anew it is the last answer, in the place of the first.
        """
        rows = self._rows(sitting)
        for row in rows:
            checked.row(self._place, "answer", row)
        return [Answer(**{**row, "clips": tuple(row["clips"].split(" "))}) for row in rows]

    def answer_columns(self) -> dict[str, list[Any]]:
        """All answers as columns, for large stores: the fields of `Answer`, `clips` space-separated."""
        columns: dict[str, list[Any]] = {name: [] for name in Answer.model_fields}
        known: dict[str, str] = {}  # the same words come again and again: each is kept once
        with reading(self._engine, self._place) as connection:
            for rows in connection.execute(_answers(None)).partitions(CHUNK_ROWS):
                for column, cells in zip(columns.values(), zip(*rows, strict=True), strict=True):
                    column += (known.setdefault(c, c) if isinstance(c, str) else c for c in cells)
            revised.into_columns(columns, revised.read(connection, self._place))
        checked.columns(self._place, columns)
        return columns

    def _rows(self, sitting: str | None) -> list[dict[str, Any]]:
        with reading(self._engine, self._place) as connection:
            rows = [dict(row._mapping) for row in connection.execute(_answers(sitting))]
            return revised.into_rows(rows, revised.read(connection, self._place, sitting))

    def _sitting(self, row: Row[Any]) -> SittingRow:
        values = {name: row._mapping[name] for name in SittingRow.__dataclass_fields__}
        checked.row(self._place, "sitting", values)
        return SittingRow(**values)

    def close(self) -> None:
        """Close every connection."""
        self._engine.dispose()


def open_store(
    place: Path | str,
    *,
    create: bool = True,
    durable: bool = True,
    now: Callable[[], str] = utc_now,
) -> Store:
    """The answer store at a SQLite path or a database URL.

    `durable=False` leaves syncing to the operating system: for simulated panels, which can be run again.

    Raises
    ------
    MissingFile
        `create=False` and there is no such file.
    CannotWrite
        The folder is read-only or the disk full.
    RecordError
        The file is no answer store.
    """
    path = None if address.is_url(place) else Path(place)
    if path is not None and not create and not path.is_file():
        raise MissingFile(f"{path}: no answers yet; let listeners sit first (listening sit, or simulate)")
    engine = connect(place, durable=durable)
    schema.bring_up(engine, str(place))
    return Store(engine, str(place), path, now)


def _answers(sitting: str | None) -> Select[Any]:
    columns = [
        (tables.sitting if name in _OF_SITTING else tables.answer).c[name] for name in Answer.model_fields
    ]
    query = select(*columns).select_from(tables.answer.join(tables.sitting)).order_by(tables.answer.c.id)
    return query if sitting is None else query.where(tables.answer.c.sitting == sitting)


def answer_values(answer: Answer) -> dict[str, Any]:
    """An answer as a row of its table."""
    values = answer.model_dump(exclude=set(_OF_SITTING))
    return values | {"clips": " ".join(answer.clips)}


def no_slot_is_free(slots: Sequence[int]) -> str:
    """What to say when nothing is left to give."""
    which = f"slot {slots[0]} is" if len(slots) == 1 else f"all {len(slots)} are"
    return f"no slot is free: {which} taken; deal the study for more listeners"


def listener_sits(listener: str) -> str:
    """What to say when a listener would sit twice."""
    return f"listener {listener} has a sitting already: resume it, or give another code"


def _new_id(listener: str, study_digest: str, simulated: bool) -> str:
    """Random for people; the same each time for simulated listeners: same seed, same store."""
    if simulated:
        return hashlib.sha256(f"{study_digest}:{listener}".encode()).hexdigest()[:32]
    return secrets.token_hex(16)
