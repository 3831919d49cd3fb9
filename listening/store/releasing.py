"""Slots given back: their sittings met other words than those who sit from now on, and stand apart."""

from collections.abc import Sequence

from sqlalchemy import select, update

from listening.store import chain, tables
from listening.store.engine import writing
from listening.store.store import Store


def release(store: Store, study_digests: Sequence[str]) -> int:
    """Give back every slot whose sitting began under one of these plans; how many that were.

    The sitting and its answers stay as they are; the ledger tells that the slot was given back.
    """
    with writing(store._engine, store._place) as connection:
        mine = tables.sitting.c.study_digest.in_(list(study_digests))
        held = tables.slot.join(tables.sitting, tables.slot.c.sitting == tables.sitting.c.id)
        columns = (tables.slot.c.slot, tables.slot.c.simulated, tables.slot.c.sitting)
        rows = connection.execute(select(*columns).select_from(held).where(mine).order_by(columns[0])).all()
        for row in rows:
            which = (tables.slot.c.slot == row.slot) & (tables.slot.c.simulated == row.simulated)
            connection.execute(update(tables.slot).where(which).values(sitting=None))
            at, kind = store._now(), chain.RELEASED
            chain.write_down(connection, at=at, kind=kind, sitting=row.sitting, detail=f"slot {row.slot}")
    return len(rows)
