"""The database connection: a SQLite file whose commits are on disk when they return, or a server."""

import importlib.util
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.exc import DBAPIError, IntegrityError, InterfaceError, OperationalError, StatementError

from listening.errors import CannotWrite, RecordError, StudyError
from listening.records.forms import locks
from listening.store import address

CONNECT_WITHIN_S = 5
REFUSED = "LT003"
SAID_BY_FUNCTIONS = {  # error codes raised in functions.sql
    "LT001": "this server holds another study; name the right database in this station's server.json",
    "LT004": "this sitting began at another booth; let the desk hand it over (listening desk FOLDER "
    "--hand-over CODE), then go on here",
    "LT005": "this login has too many sittings open at once; close some, or give each booth its own login",
    "LT002": "this sitting is open in another booth; close it there, or wait two minutes if it is dead",
}
LOCK_TROUBLE = (  # where a lock is not given; result codes of SQLite, sqlite.org/rescode.html
    "SQLITE_BUSY",
    "SQLITE_PROTOCOL",
    "SQLITE_IOERR_LOCK",
    "SQLITE_IOERR_RDLOCK",
    "SQLITE_IOERR_UNLOCK",
    "SQLITE_IOERR_CHECKRESERVEDLOCK",
    "SQLITE_IOERR_SHM",
)
WAIT_FOR_OTHERS_MS = 10_000  # several booths write to one file; a commit takes about 10 ms


def connect(place: Path | str, *, durable: bool) -> Engine:
    """An engine for a SQLite path or a database URL; `durable=False` is for simulated panels only."""
    if isinstance(place, str) and address.is_url(place):
        return _server(place)
    path = Path(place)
    engine = create_engine(f"sqlite:///{path}")
    synchronous = "FULL" if durable else "OFF"

    @event.listens_for(engine, "connect")
    def set_up(connection: Any, _record: object) -> None:
        connection.isolation_level = None  # SQLAlchemy's BEGIN below is the only one
        cursor = connection.cursor()
        cursor.execute(f"PRAGMA busy_timeout={WAIT_FOR_OTHERS_MS}")
        cursor.execute("PRAGMA secure_delete=ON")
        cursor.execute("PRAGMA foreign_keys=ON")
        cursor.execute("PRAGMA journal_mode=WAL")
        cursor.execute(f"PRAGMA synchronous={synchronous}")
        cursor.close()

    @event.listens_for(engine, "begin")
    def begin(connection: Connection) -> None:
        if connection.get_execution_options().get("isolation_level") != "AUTOCOMMIT":
            connection.exec_driver_sql("BEGIN IMMEDIATE")  # a claim that reads then writes is never overtaken

    return engine


def _server(place: str) -> Engine:
    """PostgreSQL through psycopg; user, password, TLS and time-out also from libpq's environment."""
    url = address.parse(place)
    if importlib.util.find_spec("psycopg") is None:
        raise StudyError("a database server needs psycopg; install it with: pip install 'listening[booths]'")
    return create_engine(url, pool_pre_ping=True, connect_args={"connect_timeout": CONNECT_WITHIN_S})


class Refused(StudyError):
    """The server's functions do not take what a booth sent: no sitting writes such a thing."""


class NotReached(CannotWrite):
    """The database server does not answer."""


@contextmanager
def writing(engine: Engine, place: str) -> Iterator[Connection]:
    """One transaction, on disk when the block ends; what stops it is said plainly."""
    with plain_trouble(place), engine.begin() as connection:
        yield connection


@contextmanager
def reading(engine: Engine, place: str) -> Iterator[Connection]:
    """A connection to read from, which holds up no writer."""
    with (
        plain_trouble(place),
        engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection,
    ):
        yield connection


@contextmanager
def snapshot(engine: Engine, place: str) -> Iterator[Connection]:
    """A connection on which everything read is of one instant, whatever others write meanwhile."""
    level = "REPEATABLE READ" if engine.dialect.name == "postgresql" else "AUTOCOMMIT"
    with plain_trouble(place), engine.connect().execution_options(isolation_level=level) as connection:
        if level == "AUTOCOMMIT":
            connection.exec_driver_sql("BEGIN")  # SQLite: a reader of the write-ahead log, no writer waits
        else:
            connection.exec_driver_sql("SET TRANSACTION READ ONLY")
        try:
            yield connection
        finally:
            if level == "AUTOCOMMIT":
                connection.exec_driver_sql("COMMIT")
            else:
                connection.rollback()


@contextmanager
def plain_trouble(place: str) -> Iterator[None]:
    """Turn the database's own complaints into a message a person can act on."""
    try:
        yield
    except IntegrityError:
        raise  # the caller knows which rule was broken
    except DBAPIError as error:
        raise (_server_trouble if address.is_url(place) else _file_trouble)(place, error) from None
    except StatementError as error:  # a value that its column cannot hold
        raise unreadable(place, str(error.orig)) from None


def unreadable(place: str, said: str) -> RecordError:
    """What to say of a row that no sitting wrote."""
    return RecordError(
        f"{place}: holds a value that no sitting writes ({said}); put back a copy of the store, or "
        "remove that row"
    )


def _file_trouble(place: str, error: DBAPIError) -> Exception:
    name = getattr(error.orig, "sqlite_errorname", "")
    if name.startswith(LOCK_TROUBLE):
        cause = "another program keeps it" if name == "SQLITE_BUSY" else "a lock was refused"
        return CannotWrite(
            f"{place}: the answer store cannot be used ({cause}, or this drive refuses locks, as some "
            f"network drives do); close the other program, or {locks.WAY_OUT}; every answer confirmed before "
            "stays stored"
        )
    if isinstance(error, OperationalError):
        return CannotWrite(
            f"{place}: the answer store cannot be used ({error.orig}); free space, or give this user "
            "the right to write there; every answer confirmed before stays stored"
        )
    return RecordError(
        f"{place}: not a whole answer store ({error.orig}); put back a copy, or move it away to start anew"
    )


def _server_trouble(place: str, error: DBAPIError) -> Exception:
    said = str(error.orig).strip().splitlines()[0]
    code = getattr(error.orig, "sqlstate", None)
    if code == REFUSED:
        return Refused(f"{place}: {said}; it stays here, apart from what is sent")
    if code in SAID_BY_FUNCTIONS:
        return StudyError(f"{place}: {SAID_BY_FUNCTIONS[code]}")
    if isinstance(error, OperationalError | InterfaceError) or error.connection_invalidated:
        return NotReached(
            f"{place}: the database server cannot be used ({said}); see that it runs and that PGHOST, "
            "PGUSER and the password file are right; every answer confirmed before stays stored"
        )
    return StudyError(
        f"{place}: {said}; log in as a user who has this right (PGUSER), or let the server's owner set it up "
        "again (listening booths)"
    )
