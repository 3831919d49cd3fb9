"""Slots: each is given to one sitting, in one step, however many ask at once."""

from collections.abc import Sequence
from importlib import import_module
from typing import Any

from sqlalchemy import Connection, Integer, Select, cast, func, insert, literal, select, update

from listening.store import chain, tables


def offer(connection: Connection, slots: Sequence[int], *, simulated: bool) -> None:
    """Add those of `slots` that the store does not list yet."""
    mine = tables.slot.c.simulated == simulated
    known = set(connection.scalars(select(tables.slot.c.slot).where(mine)))
    missing = [{"slot": slot, "simulated": simulated} for slot in sorted(set(slots) - known)]
    if missing:
        dialect = import_module(f"sqlalchemy.dialects.{connection.dialect.name}")  # only the one in use
        connection.execute(dialect.insert(tables.slot).on_conflict_do_nothing(), missing)


def claim(
    connection: Connection,
    values: dict[str, object],
    slots: Sequence[int],
    *,
    lease_s: float,
    token: str | None = None,
) -> int | None:
    """The first free slot of `slots`, now taken by the sitting in `values`; None when none is free.

    Parameters
    ----------
    values : id, listener, study_digest, simulated, started_at, holder of the new sitting
    token : what only this booth knows; None at the store itself

    Raises
    ------
    IntegrityError
        The listener has a sitting already.
    """
    if connection.dialect.name == "postgresql":
        given: int | None = connection.scalar(_claim_on_server(values, slots, lease_s, token))
        return given
    mine = tables.slot.c.simulated == values["simulated"]
    free = set(connection.scalars(select(tables.slot.c.slot).where(mine, tables.slot.c.sitting.is_(None))))
    given = next((slot for slot in slots if slot in free), None)
    if given is not None:
        row = {k: v for k, v in values.items() if k != "holder"} | {"slot": given}
        connection.execute(insert(tables.sitting).values(**row))
        began = chain.of_row({**row, "site": ""})
        at, sitting = str(values["started_at"]), str(values["id"])
        chain.write_down(connection, at=at, kind=chain.BEGAN, sitting=sitting, detail=began)
        to_it = update(tables.slot).where(mine, tables.slot.c.slot == given)
        connection.execute(to_it.values(sitting=values["id"]))
    return given


def _claim_on_server(
    values: dict[str, object], slots: Sequence[int], lease_s: float, token: str | None
) -> Select[tuple[Any]]:
    from sqlalchemy.dialects import postgresql  # slow to load, and most stations have no server

    names = ("study_digest", "simulated", "started_at", "holder")
    wanted = cast(literal(list(slots), postgresql.ARRAY(Integer)), postgresql.ARRAY(Integer))
    known = (values[name] for name in names)
    return select(func.booth_claim(values["id"], values["listener"], wanted, *known, lease_s, token))
