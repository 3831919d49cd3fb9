"""The hash chain of a sitting and the ledger of a store: what was written down, in which order, nothing else.

Each answer and event carries its place in its sitting's chain and the SHA-256 of itself with the one before.
The ledger does the same for what happens to whole sittings: begun, finished, removed, merged, and the answers
opened. It names sittings by the hash of their id, so that a removed one leads to nobody.
"""

import hashlib
import json
from collections.abc import Mapping
from typing import Any

from sqlalchemy import Connection, bindparam, func, insert, select, update

from listening.store import tables

ANSWER, EVENT = "answer", "event"
LINKED = {  # the columns that a link covers, in this order for ever
    ANSWER: (
        *("sitting", "trial", "attribute", "task", "clips", "answer"),
        *("response_s", "plays", "practice", "answered_at"),
    ),
    EVENT: ("sitting", "at", "kind", "trial", "detail"),
}
OF_SITTING = ("id", "slot", "simulated", "study_digest", "started_at")
WHOLE_ROW = ("id", "listener", "slot", "simulated", "study_digest", "started_at", "site")
BEGAN, FINISHED, REMOVED, MERGED, RENAMED, OPENED, RELEASED = (
    "began",
    "finished",
    "removed",
    "merged",
    "renamed",
    "opened",
    "released",
)

# built once: putting a statement together takes longer than the database needs for it
_MINE = tables.sitting.c.id == bindparam("of_sitting")
_ITS_SITTING = select(tables.sitting).where(_MINE).with_for_update()
_ITS_CHANGE = update(tables.sitting).where(_MINE)
_ADDED = {ANSWER: insert(tables.answer), EVENT: insert(tables.event)}


def genesis(sitting: Mapping[str, Any]) -> str:
    """What a sitting's chain begins with; not the listener's code and site, which a merge may change."""
    return _digest(["sitting", *(sitting[name] for name in OF_SITTING)])


def link(before: str, place: int, kind: str, row: Mapping[str, Any]) -> str:
    """The hash of a row at its place in a chain, after the hash before it."""
    return _digest([before, place, kind, *(row[name] for name in LINKED[kind])])


def row_digest(sitting: Mapping[str, Any]) -> str:
    """The hash of a sitting's row, the same in SQL (`ledger.sql`)."""
    cells = (str(int(v)) if isinstance(v := sitting[name], bool) else str(v) for name in WHOLE_ROW)
    return hashlib.sha256("\n".join(cells).encode()).hexdigest()


def mark(sitting: str) -> str:
    """How the ledger names a sitting."""
    return hashlib.sha256(sitting.encode()).hexdigest()


def entry(before: str, n: int, row: Mapping[str, Any]) -> str:
    """The hash of the ledger's row n, the same in SQL."""
    cells = (before, str(n), *(str(row[name]) for name in ("at", "kind", "sitting", "detail")))
    return hashlib.sha256("\n".join(cells).encode()).hexdigest()


def append(connection: Connection, kind: str, row: Mapping[str, Any]) -> bool:
    """Put an answer or event at the end of its sitting's chain; False where that sitting is not there."""
    of_sitting = {"of_sitting": row["sitting"]}
    known = connection.execute(_ITS_SITTING, of_sitting).one_or_none()
    if known is None:
        return False
    place = known.links + 1
    chain = link(known.head or genesis(dict(known._mapping)), place, kind, row)
    connection.execute(_ADDED[kind], {**row, "link": place, "chain": chain})
    changes = {"links": place, "head": chain}
    if kind == EVENT and place > 1:  # the first one says that the sitting began, which its row says too
        changes["heartbeat_at"] = row["at"]
    connection.execute(_ITS_CHANGE, of_sitting | changes)
    return True


def write_down(connection: Connection, *, at: str, kind: str, sitting: str = "", detail: str = "") -> None:
    """Add a row to the ledger; `sitting` is an id, kept as its hash."""
    row = {"at": at, "kind": kind, "sitting": mark(sitting) if sitting else "", "detail": detail}
    if connection.dialect.name == "postgresql":
        connection.execute(select(func.ledger_write(*row.values())))
        return
    last = connection.execute(select(tables.ledger).order_by(tables.ledger.c.n.desc()).limit(1)).one_or_none()
    n = 1 if last is None else last.n + 1
    chain = entry("" if last is None else last.chain, n, row)
    connection.execute(insert(tables.ledger).values(n=n, **row, chain=chain))


def of_row(sitting: Mapping[str, Any]) -> str:
    """What the ledger says of a sitting that begins or arrives: its slot, and the hash of its row."""
    return f"slot {sitting['slot']} row {row_digest(sitting)}"


def _digest(parts: list[Any]) -> str:
    text = json.dumps(
        parts, ensure_ascii=False, separators=(",", ":"), default=repr
    )  # a cell may hold anything
    return hashlib.sha256(text.encode()).hexdigest()
