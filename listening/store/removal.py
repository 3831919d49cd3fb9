"""Withdrawal: a listener's rows go beyond recovery; that it happened stays known."""

import sqlite3

from sqlalchemy import Engine, delete, insert, select, text, update

from listening.errors import StudyError
from listening.store import chain, tables
from listening.store.engine import reading, writing

REMOVAL = "removal"
REWRITE = "VACUUM FULL answer, second_answer, event, sitting, slot"


def remove(engine: Engine, place: str, listener: str, at: str) -> list[str]:
    """Delete every sitting of `listener` with its answers and events; the ids that went.

    Raises
    ------
    StudyError
        There is no such listener.
    """
    with writing(engine, place) as connection:
        query = select(tables.sitting.c.id).where(tables.sitting.c.listener == listener)
        ids = list(connection.scalars(query))
        if not ids:
            raise StudyError(
                f"{place}: no listener {listener}; look at the codes with: listening desk FOLDER"
            )
        for table in (tables.answer, tables.second_answer, tables.event):
            connection.execute(delete(table).where(table.c.sitting.in_(ids)))
        connection.execute(update(tables.slot).where(tables.slot.c.sitting.in_(ids)).values(sitting=None))
        connection.execute(delete(tables.sitting).where(tables.sitting.c.id.in_(ids)))
        connection.execute(insert(tables.event).values(at=at, kind=REMOVAL, detail="one listener withdrew"))
        for sitting in ids:
            chain.write_down(connection, at=at, kind=chain.REMOVED, sitting=sitting)
    forget(engine, place, just_removed=True)
    return ids


def forget(engine: Engine, place: str, *, just_removed: bool) -> list[str]:
    """Overwrite what deleted rows leave in the store's files; what could not be, and who must do what."""
    if engine.dialect.name == "sqlite":
        return _forget_pages(engine, place)
    return _forget_rows(engine, place, just_removed=just_removed)


def _forget_pages(engine: Engine, place: str) -> list[str]:
    """The rows' old pages also stand in the write-ahead log: write it back and cut it to nothing."""
    try:
        connection = engine.raw_connection()
        try:
            cursor = connection.cursor()
            cursor.execute("VACUUM")
            busy = cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0]
        finally:
            connection.close()
    except sqlite3.OperationalError as error:
        return [
            f"{place}: old pages are not overwritten ({error}); close what has it open, then withdraw again"
        ]
    if not busy:
        return []
    return [
        f"{place}-wal: another program has the store open and keeps old pages; close it, then withdraw again"
    ]


def _forget_rows(engine: Engine, place: str, *, just_removed: bool) -> list[str]:
    """A server keeps deleted rows in its files until they are written anew; only their owner can do that."""
    owned = "SELECT tableowner = current_user FROM pg_tables WHERE tablename = 'answer'"
    dead = "SELECT coalesce(sum(n_dead_tup), 0) FROM pg_stat_user_tables WHERE schemaname = 'public'"
    with reading(engine, place) as connection:
        if connection.scalar(text(owned)):
            connection.execute(text(REWRITE))
            return []
        if not just_removed and not connection.scalar(text(dead)):
            return []
    return [
        f"{place}: deleted rows stay in the server's files until its owner, who published the study, runs: "
        f"{REWRITE}"
    ]
