"""The chains of a store walked from end to end: every row that is not where and what it was written as."""

import json
from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Table, select

from listening.store import chain, tables
from listening.store.engine import reading
from listening.store.removal import REMOVAL
from listening.store.store import Store

Row = dict[str, Any]
SECOND = "second answer"
LINKED_TABLES = (tables.answer, tables.event, tables.second_answer)


@dataclass(frozen=True)
class Entry:
    """A row of the ledger."""

    n: int
    at: str
    kind: str
    sitting: str
    detail: str
    chain: str


@dataclass(frozen=True)
class Walked:
    """What was found."""

    faults: tuple[str, ...]
    """One line each, with the table and the row."""
    ledger: tuple[Entry, ...]
    heads: dict[str, str]
    """For each sitting (by the hash of its id) where its chain ends."""
    hashes: frozenset[str]
    """Every hash that stands in a chain that holds."""
    unchained: tuple[str, ...]
    """Listeners whose sittings began before there were chains."""

    @property
    def head(self) -> str:
        """Where the ledger ends; empty without one."""
        return self.ledger[-1].chain if self.ledger else ""


@dataclass(frozen=True)
class _Read:
    """What is read at once: everything but answers and events, which come sitting by sitting."""

    sittings: list[Row]
    slots: list[Row]
    ledger: list[Entry]
    of_store: list[Row]
    """Events about no sitting."""


def walk(store: Store, *, is_chained: bool) -> Walked:
    """Walk every chain.

    Parameters
    ----------
    is_chained : whether the study was dealt by a version that chains, so that every row must hang in a chain
    """
    faults: list[str] = []
    hashes: set[str] = set()
    unchained: list[str] = []
    with reading(store._engine, store._place) as connection:
        read = _read(connection)
        known = {entry.sitting for entry in read.ledger if entry.kind in (chain.BEGAN, chain.MERGED)}
        for sitting in read.sittings:
            if not is_chained and chain.mark(sitting["id"]) not in known and not sitting["links"]:
                unchained.append(sitting["listener"])
            else:
                faults += _sitting(sitting, _rows(connection, sitting["id"]), hashes)
        faults += (
            f"{_at(table, row)}: of a sitting that is not there" for table, row in _orphans(connection)
        )
    faults += _ledger(read, hashes, is_chained=is_chained)
    faults += _slots(read)
    heads = {chain.mark(s["id"]): s["head"] for s in read.sittings if s["head"]}
    return Walked(tuple(faults), tuple(read.ledger), heads, frozenset(hashes), tuple(sorted(unchained)))


def _read(connection: Connection) -> _Read:
    def rows(table: Table) -> list[Row]:
        query = select(table).order_by(*table.primary_key.columns)
        return [dict(row._mapping) for row in connection.execute(query)]

    query = select(tables.event).where(tables.event.c.sitting.is_(None)).order_by(tables.event.c.id)
    of_store = [dict(row._mapping) for row in connection.execute(query)]
    ledger = [Entry(**row) for row in rows(tables.ledger)]
    return _Read(rows(tables.sitting), rows(tables.slot), ledger, of_store)


def _rows(connection: Connection, sitting: str) -> list[tuple[str, Row]]:
    """A sitting's answers and events, with their tables' names, in the order of their ids."""
    return [
        (table.name, dict(row._mapping))
        for table in LINKED_TABLES
        for row in connection.execute(select(table).where(table.c.sitting == sitting).order_by(table.c.id))
    ]


def _orphans(connection: Connection) -> list[tuple[str, Row]]:
    there = select(tables.sitting.c.id)
    return [
        (table.name, dict(row._mapping))
        for table in LINKED_TABLES
        for row in connection.execute(select(table).where(table.c.sitting.not_in(there)).order_by(table.c.id))
    ]


def _sitting(sitting: Row, rows: list[tuple[str, Row]], hashes: set[str]) -> Iterator[str]:
    """One sitting's rows against its chain."""
    whose = f"sitting of {sitting['listener']} (slot {sitting['slot']})"
    at: defaultdict[int, list[tuple[str, Row]]] = defaultdict(list)
    seconds = {row["trial"] for table, row in rows if table == "second_answer"}
    last: dict[str, int] = {}
    for table, row in rows:
        place, told = _place(table, row)
        if place is None:
            if not (row.get("kind") == SECOND and row["trial"] in seconds):
                yield f"{_at(table, row)}: {whose}: hangs in no chain, so it was put in afterwards"
            continue
        at[place].append((table, told))
        if table != "second_answer" and place < last.get(table, 0):
            yield f"{_at(table, row)}: {whose}: stands in another order than it was written in"
        last[table] = max(place, last.get(table, 0))
    yield from _links(sitting, whose, at, hashes)


def _links(
    sitting: Row, whose: str, at: Mapping[int, list[tuple[str, Row]]], hashes: set[str]
) -> Iterator[str]:
    before = {chain.genesis(sitting)}
    for place in range(1, max([*at, sitting["links"]], default=0) + 1):
        if place not in at:
            yield f"answers and events: {whose}: row {place} of its chain was taken out"
            before = set()
            continue
        right: list[tuple[str, Row]] = []
        wrong: list[tuple[str, Row]] = []
        for table, row in at[place]:
            kind = chain.EVENT if table == "event" else chain.ANSWER
            is_right = any(chain.link(b, place, kind, row) == row["chain"] for b in before)
            (right if is_right else wrong).append((table, row))
        for table, row in wrong:
            if before or right:
                yield f"{_at(table, row)}: {whose}: not what was written down{_trial(row)}"
        if len(right) > 1:
            rows = " and ".join(_at(table, row) for table, row in right)
            yield f"{rows}: {whose}: both follow on one row: it went on at two booths, or one was put in"
        hashes |= {row["chain"] for _, row in right}
        before = {row["chain"] for _, row in at[place] if row["chain"]}
    is_cut = sitting["links"] != max(at, default=0)
    if is_cut or (sitting["head"] not in (before or {""}) and sitting["links"]):
        yield f"sitting: {whose}: its chain ends otherwise than its row says"


def _place(table: str, row: Row) -> tuple[int | None, Row]:
    """A row's place in its chain, and its columns: those of a second answer stand in its body."""
    if table != "second_answer":
        return row["link"], row
    body = json.loads(row["body"]) if isinstance(row["body"], str) else dict(row["body"])
    body = {name: body.get(name) for name in (*chain.LINKED[chain.ANSWER], "link", "chain")}
    return body["link"], {**body, "id": row["id"]}


def _ledger(read: _Read, hashes: set[str], *, is_chained: bool) -> Iterator[str]:
    """The ledger's own chain, and whether the sittings are those that it tells of."""
    before, n = "", 0
    for entry in read.ledger:
        n += 1
        if entry.n != n:
            yield f"ledger: row {n} was taken out, or row {entry.n} put in"
            n = entry.n
        if chain.entry(before, entry.n, vars(entry)) == entry.chain:
            hashes.add(entry.chain)
        else:
            yield f"ledger: row {entry.n} ({entry.kind}, {entry.at}) is not what was written down"
        before = entry.chain
    yield from _told(read, hashes, is_chained=is_chained)
    removed = {entry.at for entry in read.ledger if entry.kind == chain.REMOVED}
    noted = {row["at"] for row in read.of_store if row["kind"] == REMOVAL}
    if read.ledger:
        yield from (
            f"event: the removal of {at} does not stand in the ledger" for at in sorted(noted - removed)
        )
        yield from (
            f"event: the removal of {at}, which the ledger tells, is not there"
            for at in sorted(removed - noted)
        )
    for row in read.of_store:
        if row["kind"] != REMOVAL or row["detail"] != "one listener withdrew":
            yield f"{_at('event', row)}: about no sitting, and no removal as it is written down"


def _told(read: _Read, hashes: set[str], *, is_chained: bool) -> Iterator[str]:
    rows: dict[str, str] = {}
    finished: dict[str, Entry] = {}
    removed = set()
    for entry in read.ledger:
        if entry.kind in (chain.BEGAN, chain.MERGED, chain.RENAMED):
            rows[entry.sitting] = entry.detail
            removed.discard(entry.sitting)
        elif entry.kind == chain.FINISHED:
            finished[entry.sitting] = entry
        elif entry.kind == chain.REMOVED:
            removed.add(entry.sitting)
    merged = {entry.sitting for entry in read.ledger if entry.kind == chain.MERGED}
    there = {chain.mark(sitting["id"]): sitting for sitting in read.sittings}
    for name in rows:
        if name not in there and name not in removed:
            yield f"sitting: the one on {rows[name].split(' row ')[0]} was taken out of the store"
    for name, sitting in there.items():
        whose = f"sitting: that of {sitting['listener']} (slot {sitting['slot']})"
        if name in rows and rows[name] != chain.of_row(sitting):
            yield f"{whose}: listener, slot, site, start or being human is not what was written down"
        if name not in rows and (is_chained or sitting["links"]):
            yield f"{whose}: the ledger does not know that it began"
        if name in rows and not _ended(sitting, finished.get(name), hashes, merged=name in merged):
            yield f"{whose}: finished {sitting['finished_at'] or 'never'}, the ledger tells otherwise"


def _ended(sitting: Row, entry: Entry | None, hashes: set[str], *, merged: bool) -> bool:
    if entry is None:
        return merged or sitting["finished_at"] is None
    return sitting["finished_at"] == entry.at and entry.detail in hashes


def _slots(read: _Read) -> Iterator[str]:
    """Each given slot leads to its sitting, and each sitting from its slot, unless two share it."""
    of = {sitting["id"]: sitting for sitting in read.sittings}
    for row in read.slots:
        sitting = of.get(row["sitting"])
        if row["sitting"] and (
            sitting is None or (sitting["slot"], sitting["simulated"]) != (row["slot"], row["simulated"])
        ):
            yield f"slot: {row['slot']} leads to a sitting that is not its own"
    given = {(row["slot"], row["simulated"]) for row in read.slots if row["sitting"]}
    released = {entry.sitting for entry in read.ledger if entry.kind == chain.RELEASED}
    for sitting in read.sittings:
        if chain.mark(sitting["id"]) not in released and (sitting["slot"], sitting["simulated"]) not in given:
            yield f"slot: {sitting['slot']} is free, but {sitting['listener']} sat on it"


def _at(table: str, row: Mapping[str, Any]) -> str:
    return f"{table} row {row['id']}"


def _trial(row: Row) -> str:
    return f" (trial {row['trial']})" if row.get("trial") else ""
