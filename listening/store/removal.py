"""Withdrawal: a listener's rows go beyond recovery; that it happened stays known."""

from sqlalchemy import Engine, delete, insert, select, text, update

from listening.errors import StudyError
from listening.store import chain, tables
from listening.store.engine import plain_trouble, reading, writing

REMOVAL = "removal"


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
    if engine.dialect.name == "sqlite":
        _forget_pages(engine, place)
    else:
        _forget_rows(engine, place)
    return ids


def _forget_pages(engine: Engine, place: str) -> None:
    """The rows' old pages also stand in the write-ahead log: write it back and cut it to nothing."""
    with plain_trouble(place):
        connection = engine.raw_connection()
        try:
            connection.cursor().execute("VACUUM")
            connection.cursor().execute("PRAGMA wal_checkpoint(TRUNCATE)")
        finally:
            connection.close()


def _forget_rows(engine: Engine, place: str) -> None:
    """A server keeps deleted rows in its files until they are written anew; only their owner can do that."""
    with reading(engine, place) as connection:
        if connection.scalar(
            text("SELECT tableowner = current_user FROM pg_tables WHERE tablename = 'answer'")
        ):
            connection.execute(text("VACUUM FULL answer, second_answer, event, sitting"))
