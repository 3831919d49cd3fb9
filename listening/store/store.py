"""The answer store: sittings are claimed, answers recorded, and read back for the analysis."""

import secrets
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Engine, Row, func, insert, select, text, update
from sqlalchemy.exc import IntegrityError

from listening.errors import MissingFile, StudyError
from listening.records.answer import Answer
from listening.store import removal, tables
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


class Store:
    """Every write is durable when the call returns (SQLite: WAL, synchronous=FULL)."""

    def __init__(self, engine: Engine, place: str, path: Path | None, now: Callable[[], str]) -> None:
        self._engine = engine
        self._place = place
        self._path = path
        self._now = now

    def start_sitting(
        self, listener: str, *, slots: Sequence[int], study_digest: str, simulated: bool = False
    ) -> SittingRow:
        """A new sitting on the first of `slots` that nobody has; one step, never given to two.

        Raises
        ------
        StudyError
            All slots are taken, or this listener has a sitting already.
        """
        with writing(self._engine, self._place) as connection:
            if connection.dialect.name == "postgresql":
                connection.execute(text("LOCK TABLE sitting IN EXCLUSIVE MODE"))
            mine = tables.sitting.c.simulated == simulated
            taken = set(connection.scalars(select(tables.sitting.c.slot).where(mine)))
            free = next((slot for slot in slots if slot not in taken), None)
            if free is None:
                raise StudyError(f"no slot is free: {_slots(slots)} taken; deal the study for more listeners")
            row = SittingRow(
                id=secrets.token_hex(4),
                listener=listener,
                slot=free,
                simulated=simulated,
                study_digest=study_digest,
                started_at=self._now(),
                finished_at=None,
                heartbeat_at=None,
            )
            try:
                connection.execute(insert(tables.sitting).values(**vars(row)))
            except IntegrityError as error:
                raise StudyError(
                    f"listener {listener} has a sitting already: resume it, or give another code"
                ) from error
        return row

    def resume(
        self, *, listener: str | None = None, slot: int | None = None, simulated: bool = False
    ) -> SittingRow | None:
        """The sitting of that listener or slot, or None."""
        column, value = (tables.sitting.c.listener, listener) if listener else (tables.sitting.c.slot, slot)
        with reading(self._engine, self._place) as connection:
            query = select(tables.sitting).where(column == value, tables.sitting.c.simulated == simulated)
            row = connection.execute(query).one_or_none()
        return None if row is None else SittingRow(**row._mapping)

    def hold(self, sitting: str) -> AbstractContextManager[object]:
        """The sitting kept from every other process until released or this process ends.

        Raises
        ------
        StudyError
            Another process has it.
        """
        if self._path is None:
            return nullcontext()  # PostgreSQL: the booths' slots are claimed in one transaction
        return hold(self._path.with_name(f"sitting-{sitting}.lock"), sitting)

    def record(self, answer: Answer) -> None:
        """Store one answer; on disk when this returns.

        Raises
        ------
        StudyError
            The trial has an answer already.
        """
        values = answer.model_dump(exclude={"listener", "slot", "simulated"})
        values["clips"] = " ".join(answer.clips)
        try:
            with writing(self._engine, self._place) as connection:
                connection.execute(insert(tables.answer).values(**values))
        except IntegrityError as error:
            raise StudyError(
                f"sitting {answer.sitting}: trial {answer.trial} has an answer already, "
                "or the sitting was withdrawn"
            ) from error

    def note(self, sitting: str | None, kind: str, *, trial: str | None = None, detail: str = "") -> None:
        """Write down that something happened; it also counts as a heartbeat of the sitting."""
        at = self._now()
        with writing(self._engine, self._place) as connection:
            row = {"sitting": sitting, "at": at, "kind": kind, "trial": trial, "detail": detail}
            connection.execute(insert(tables.event).values(**row))
            if sitting is not None:
                where = tables.sitting.c.id == sitting
                connection.execute(update(tables.sitting).where(where).values(heartbeat_at=at))

    def void(self, sitting: str, trial: str, reason: str) -> None:
        """Write down that a trial did not count and is asked again."""
        self.note(sitting, "void", trial=trial, detail=reason)

    def finish(self, sitting: str) -> None:
        """Mark a sitting as complete."""
        with writing(self._engine, self._place) as connection:
            where = tables.sitting.c.id == sitting
            connection.execute(update(tables.sitting).where(where).values(finished_at=self._now()))

    def withdraw(self, listener: str) -> list[str]:
        """Remove all of a listener's sittings beyond recovery; returns their ids.

        Overwrites the rows (secure delete), empties the write-ahead log, and notes that a removal happened
        without saying whose.
        """
        return removal.remove(self._engine, self._place, listener, self._now())

    def sittings(self) -> list[SittingRow]:
        """All sittings, in the order they began."""
        with reading(self._engine, self._place) as connection:
            rows = connection.execute(select(tables.sitting).order_by(tables.sitting.c.started_at))
            return [SittingRow(**row._mapping) for row in rows]

    def events(self, sitting: str | None = None) -> list[EventRow]:
        """What happened, oldest first: in one sitting, or (None) everything."""
        columns = [tables.event.c[name] for name in EventRow.__dataclass_fields__]
        query = select(*columns).order_by(tables.event.c.id)
        if sitting is not None:
            query = query.where(tables.event.c.sitting == sitting)
        with reading(self._engine, self._place) as connection:
            return [EventRow(*row) for row in connection.execute(query)]

    def n_answers(self) -> dict[str, int]:
        """How many counted answers each sitting holds; practice left out."""
        query = (
            select(tables.answer.c.sitting, func.count())
            .where(~tables.answer.c.practice)
            .group_by(tables.answer.c.sitting)
        )
        with reading(self._engine, self._place) as connection:
            return {str(sitting): int(n) for sitting, n in connection.execute(query)}

    def answers(self, sitting: str | None = None) -> list[Answer]:
        """All answers in the order they were given, practice included; or those of one sitting."""
        return [
            Answer(**{**row._mapping, "clips": tuple(row.clips.split(" "))}) for row in self._rows(sitting)
        ]

    def answer_columns(self) -> dict[str, list[Any]]:
        """All answers as columns, for large stores: the fields of `Answer`, `clips` space-separated."""
        rows = self._rows(None)
        return {name: list(cells) for name, cells in zip(Answer.model_fields, _turned(rows), strict=True)}

    def _rows(self, sitting: str | None) -> Sequence[Row[Any]]:
        of_sitting = ("listener", "slot", "simulated")
        columns = [
            (tables.sitting if name in of_sitting else tables.answer).c[name] for name in Answer.model_fields
        ]
        query = select(*columns).select_from(tables.answer.join(tables.sitting)).order_by(tables.answer.c.id)
        if sitting is not None:
            query = query.where(tables.answer.c.sitting == sitting)
        with reading(self._engine, self._place) as connection:
            return connection.execute(query).all()

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
    path = None if isinstance(place, str) and "://" in place else Path(place)
    if path is not None and not create and not path.is_file():
        raise MissingFile(f"{path}: no answers yet; let listeners sit first (listening sit, or simulate)")
    engine = connect(place, durable=durable)
    with writing(engine, str(place)) as connection:
        tables.metadata.create_all(connection)
    return Store(engine, str(place), path, now)


def _turned(rows: Sequence[Row[Any]]) -> list[Sequence[Any]]:
    return list(zip(*rows, strict=True)) if rows else [()] * len(Answer.model_fields)


def _slots(slots: Sequence[int]) -> str:
    return f"slot {slots[0]} is" if len(slots) == 1 else f"all {len(slots)} are"
