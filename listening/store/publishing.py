"""A dealt study published on a server: tables, functions, roles, its hash and its slots."""

from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import Connection, insert, select, text

from listening.errors import StudyError
from listening.store import claims, functions, tables
from listening.store.engine import writing
from listening.store.store import Store


@dataclass(frozen=True)
class Published:
    """What was set up."""

    slots: int
    roles: bool
    """False: this user may not create roles; the server's owner must run roles.sql."""


def publish(
    store: Store, *, study_digest: str, protocol_digest: str, slots: Sequence[int], at: str
) -> Published:
    """Set up the server for one study; run again, it changes nothing that is right already.

    Raises
    ------
    StudyError
        The database holds another study.
    """
    with writing(store._engine, store._place) as connection:
        found = connection.scalar(select(tables.study.c.study_digest))
        if found is not None and found != study_digest:
            raise StudyError(
                f"{store._place}: holds study {found[:12]}, this one is {study_digest[:12]}; "
                "make a database for each study (CREATE DATABASE)"
            )
        if found is None:
            row = {"study_digest": study_digest, "protocol_digest": protocol_digest, "published_at": at}
            connection.execute(insert(tables.study).values(**row))
        claims.offer(connection, slots, simulated=False)
        functions.install(connection)
        roles = _may_make_roles(connection)
        if roles:
            functions.make_roles(connection)
    return Published(slots=len(slots), roles=roles)


def _may_make_roles(connection: Connection) -> bool:
    asked = "SELECT rolsuper OR rolcreaterole FROM pg_roles WHERE rolname = current_user"
    return bool(connection.scalar(text(asked)))
