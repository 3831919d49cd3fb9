"""Another site's sittings brought into a store: refused, or kept apart by site, where they collide."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from sqlalchemy import Connection, insert, select, update
from sqlalchemy.exc import IntegrityError

from listening.errors import StudyError
from listening.store import chain, copying, tables
from listening.store.engine import snapshot, writing
from listening.store.store import Store


@dataclass(frozen=True)
class Merged:
    """What a merge brought."""

    sittings: int
    answers: int
    known: int
    """Sittings that were here already, the same in every answer."""
    renamed: tuple[str, ...]
    """Listener codes that both sites used; the other's now end in @SITE."""
    shared_slots: tuple[int, ...]


@dataclass(frozen=True)
class _Sitting:
    row: dict[str, Any]
    answers: tuple[dict[str, Any], ...]
    second_answers: tuple[dict[str, Any], ...]
    events: tuple[dict[str, Any], ...]


def merge(
    store: Store,
    other: Store,
    *,
    site: str,
    study_digest: str,
    before: Sequence[str] = (),
    keep_apart: bool = False,
) -> Merged:
    """Bring all sittings of `other` into `store` under the name `site`, in one transaction.

    Parameters
    ----------
    study_digest : the hash of this study; sittings of another deal have other clip codes
    before : its hashes before it was amended
    keep_apart : take slots and listener codes that both sites used, the other's code as CODE@SITE

    Raises
    ------
    StudyError
        Another study, simulated sittings among human ones, or (unless `keep_apart`) a slot or listener code
        that both sites used, or a sitting
        that is here with other answers. Nothing is changed then.
    """
    there = _sittings(other)
    if not there:
        raise StudyError(f"{other._place}: no sittings to merge")
    with writing(store._engine, store._place) as connection:
        here = {s.row["id"]: s for s in _read(connection)}
        _check_study(there, study_digest, other._place, before)
        new = [s for s in there if s.row["id"] not in here]
        _check_kind(there, list(here.values()), other._place)
        _check_known([s for s in there if s.row["id"] in here], here)
        slots, listeners = _collisions(new, list(here.values()))
        if (slots or listeners) and not keep_apart:
            raise StudyError(_collision(other._place, slots, listeners))
        try:
            for sitting in new:
                _add(connection, _at_site(sitting, site, listeners), store._now())
        except IntegrityError as error:
            raise copying.unfitting(other._place, error) from None
    return Merged(
        sittings=len(new),
        answers=sum(len(s.answers) for s in new),
        known=len(there) - len(new),
        renamed=tuple(sorted(listeners)),
        shared_slots=tuple(sorted(slots)),
    )


def name_own_site(store: Store, site: str) -> None:
    """Give the sittings that carry no site yet the name of this one."""
    mine = tables.sitting.c.site == ""
    with writing(store._engine, store._place) as connection:
        rows = connection.execute(select(tables.sitting).where(mine).order_by(tables.sitting.c.id)).all()
        connection.execute(update(tables.sitting).where(mine).values(site=site))
        for row in rows:
            named = chain.of_row({**row._mapping, "site": site})
            chain.write_down(connection, at=store._now(), kind=chain.RENAMED, sitting=row.id, detail=named)


def _sittings(store: Store) -> list[_Sitting]:
    with snapshot(store._engine, store._place) as connection:
        return _read(connection)


def _read(connection: Connection) -> list[_Sitting]:
    parts: dict[str, dict[str, list[dict[str, Any]]]] = {}
    for table in (tables.answer, tables.second_answer, tables.event):
        rows = parts.setdefault(table.name, defaultdict(list))
        for row in connection.execute(select(table).order_by(table.c.id)):
            values = {k: v for k, v in row._mapping.items() if k != "id"}
            rows[values["sitting"]].append(values)
    found = connection.execute(select(tables.sitting).order_by(tables.sitting.c.started_at))
    return [_Sitting(dict(row._mapping), *(tuple(part[row.id]) for part in parts.values())) for row in found]


def _check_study(there: Sequence[_Sitting], study_digest: str, place: str, before: Sequence[str]) -> None:
    strange = {s.row["study_digest"] for s in there} - {study_digest, *before}
    if strange:
        raise StudyError(
            f"{place}: belongs to study {min(strange)[:12]}, this one is {study_digest[:12]}; sites must "
            "work from copies of one dealt station folder"
        )


def _check_kind(there: Sequence[_Sitting], here: Sequence[_Sitting], place: str) -> None:
    kinds = {bool(sitting.row["simulated"]) for sitting in (*there, *here)}
    if len(kinds) > 1:
        n = sum(bool(sitting.row["simulated"]) for sitting in (*there, *here))
        raise StudyError(
            f"{place}: {n} of the {len(there) + len(here)} sittings here and there are simulated; simulated "
            "answers never stand among human ones. Nothing was changed"
        )


def _check_known(again: Sequence[_Sitting], here: dict[str, _Sitting]) -> None:
    for sitting in again:
        name = sitting.row["id"]
        if sitting.answers != here[name].answers:
            raise StudyError(
                f"sitting {name} (listener {sitting.row['listener']}) is here with {len(here[name].answers)} "
                f"answers and there with {len(sitting.answers)}, not the same ones: merge a site when it has "
                "finished, or withdraw that listener here first"
            )


def _collisions(new: Sequence[_Sitting], here: Sequence[_Sitting]) -> tuple[set[int], set[str]]:
    def used(sittings: Sequence[_Sitting], column: str) -> set[tuple[Any, bool]]:
        return {(s.row[column], s.row["simulated"]) for s in sittings}

    slots = used(new, "slot") & used(here, "slot")
    listeners = used(new, "listener") & used(here, "listener")
    return {slot for slot, _ in slots}, {listener for listener, _ in listeners}


def _collision(place: str, slots: set[int], listeners: set[str]) -> str:
    said = []
    if slots:
        said.append(f"{len(slots)} slot(s) were sat at both sites ({_some(sorted(slots))})")
    if listeners:
        said.append(f"{len(listeners)} listener code(s) were used at both ({_some(sorted(listeners))})")
    return (
        f"{place}: {' and '.join(said)}; if these are different people, keep them apart by site with "
        "--keep-apart; nothing was changed"
    )


def _some(names: Sequence[object]) -> str:
    return ", ".join(map(str, names[:5])) + (", ..." if len(names) > 5 else "")


def _at_site(sitting: _Sitting, site: str, listeners: set[str]) -> _Sitting:
    name = sitting.row["listener"]
    renamed = f"{name}@{site}" if name in listeners else name
    return replace(sitting, row=sitting.row | {"site": site, "listener": renamed, "holder": None})


def _add(connection: Connection, sitting: _Sitting, at: str) -> None:
    row = sitting.row
    connection.execute(insert(tables.sitting).values(**row))
    detail = chain.of_row(row)
    chain.write_down(connection, at=at, kind=chain.MERGED, sitting=row["id"], detail=detail)
    for table, rows in (
        (tables.answer, sitting.answers),
        (tables.second_answer, sitting.second_answers),
        (tables.event, sitting.events),
    ):
        if rows:
            connection.execute(insert(table), list(rows))
    mine = (tables.slot.c.slot == row["slot"]) & (tables.slot.c.simulated == row["simulated"])
    if connection.scalar(select(tables.slot.c.slot).where(mine)) is None:
        values = {"slot": row["slot"], "simulated": row["simulated"], "sitting": row["id"]}
        connection.execute(insert(tables.slot).values(**values))
    else:
        free = mine & tables.slot.c.sitting.is_(None)
        connection.execute(update(tables.slot).where(free).values(sitting=row["id"]))
