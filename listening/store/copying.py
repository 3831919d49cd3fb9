"""A whole store copied to another place, either engine to either engine, and proved equal."""

import hashlib
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Row, Table, func, insert, select, text
from sqlalchemy.exc import IntegrityError

from listening.errors import StudyError
from listening.store import tables
from listening.store.engine import reading, snapshot, writing
from listening.store.store import Store, open_store

TABLES = (  # parents first
    tables.study,
    tables.slot,
    tables.sitting,
    tables.answer,
    tables.second_answer,
    tables.event,
    tables.ledger,
)
CHUNK_ROWS = 5_000
Progress = Callable[[int, int], None]


def copy(source: Path | str, target: Path | str, *, on_progress: Progress | None = None) -> dict[str, int]:
    """Copy every row from one store to an empty one; how many rows of each table.

    All or nothing: the target stays empty unless every row arrived and reads back the same.

    Raises
    ------
    StudyError
        The target holds something already, or (never seen) reads back otherwise.
    """
    one = open_store(source, create=False)
    other = open_store(target)
    try:
        _check_empty(other, target)
        return _copy(one, other, str(target), on_progress)
    except IntegrityError as error:
        raise unfitting(str(source), error) from None
    finally:
        one.close()
        other.close()


def _copy(one: Store, other: Store, target: str, on_progress: Progress | None) -> dict[str, int]:
    counts: dict[str, int] = {}
    with snapshot(one._engine, one._place) as source, writing(other._engine, target) as sink:
        total = sum(_count(source, table) for table in TABLES)
        for table in TABLES:
            for rows in _chunks(source, table):
                sink.execute(insert(table), [dict(row._mapping) for row in rows])
                counts[table.name] = counts.get(table.name, 0) + len(rows)
                if on_progress is not None:
                    on_progress(sum(counts.values()), total)
            counts.setdefault(table.name, 0)
        _set_counters(sink)
        if digest(source) != digest(sink):
            raise StudyError(f"{target}: reads back otherwise than it was written; nothing was copied")
    return counts


def unfitting(place: str, error: IntegrityError) -> StudyError:
    """What to say of rows that do not belong together, such as answers of no sitting."""
    return StudyError(
        f"{place}: holds rows that do not belong together ({error.orig}), which no sitting writes; put "
        "back a copy of the store; nothing was changed"
    )


def digest(connection: Connection) -> str:
    """SHA-256 over every row of every table, the same on both engines."""
    total = hashlib.sha256()
    for table in TABLES:
        for rows in _chunks(connection, table):
            for row in rows:
                total.update(repr([_plain(cell) for cell in row]).encode())
    return total.hexdigest()


def _plain(cell: Any) -> Any:
    return float(cell) if isinstance(cell, float) else cell


def _chunks(connection: Connection, table: Table) -> Iterator[Sequence[Row[Any]]]:
    """All rows in the order of the primary key, some thousand at a time."""
    keys = list(table.primary_key.columns)
    if any(key.type.python_type is str for key in keys):  # engines and locales sort text differently
        rows = sorted(connection.execute(select(table)).all(), key=lambda row: str(row[0]))
        yield from [rows] if rows else []
        return
    yield from connection.execute(select(table).order_by(*keys)).partitions(CHUNK_ROWS)


def _count(connection: Connection, table: Table) -> int:
    return int(connection.scalar(select(func.count()).select_from(table)) or 0)


def _check_empty(store: Store, target: Path | str) -> None:
    with reading(store._engine, str(target)) as connection:
        n_sittings, n_events = _count(connection, tables.sitting), _count(connection, tables.event)
    if n_sittings or n_events:
        raise StudyError(
            f"{target}: holds {n_sittings} sittings already, wanted an empty store; "
            "name another place, or bring them together with: listening merge"
        )


def _set_counters(connection: Connection) -> None:
    """PostgreSQL numbers new rows by itself: let it go on after the copied ones."""
    if connection.dialect.name == "postgresql":
        for name in ("answer", "second_answer", "event"):
            last = f"(SELECT coalesce(max(id), 0) + 1 FROM {name})"
            connection.execute(text(f"SELECT setval('{name}_id_seq', {last}, false)"))
