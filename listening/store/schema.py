"""The store's form on either engine: made new, found current, or brought up from an older form."""

from pathlib import Path

from sqlalchemy import Connection, Engine, inspect, text

from listening.errors import RecordError
from listening.records.forms.text import plain
from listening.store import functions, tables
from listening.store.engine import reading, writing

CURRENT = "0005"  # the newest file in migrations/versions
FIRST = "0001"  # stores of the first form hold no mark
FORMS = tuple(f"{n:04d}" for n in range(int(FIRST), int(CURRENT) + 1))
MARK = "alembic_version"  # Alembic's own table


def bring_up(engine: Engine, place: str) -> None:
    """Make the tables, or migrate them; a store of a later program is refused.

    Raises
    ------
    RecordError
        The store was written by a newer version than this one.
    """
    with reading(engine, place) as connection:
        found = _form(connection)
    if found == CURRENT:
        return
    if found is not None and found not in FORMS:
        raise RecordError(f"{place}: {_strange(found)}")
    if engine.dialect.name == "sqlite" and found is not None:
        return _migrate_sqlite(engine, place)
    with writing(engine, place) as connection:
        _one_at_a_time(connection)
        found = _form(connection)
        if found is None:
            _make(connection)
        elif found != CURRENT:
            migrate(connection, found)
        if connection.dialect.name == "postgresql":
            functions.install(connection)


def _strange(found: str) -> str:
    if found.isascii() and found.isdecimal() and len(found) == len(CURRENT) and found > CURRENT:
        known = f"this program knows forms up to {CURRENT}"
        return f"the store has form {found}, {known}; install the newer version that wrote it"
    return f"the store says of its form `{plain(found)[:20]}`, wanted {FIRST} to {CURRENT}; put back a copy"


def _one_at_a_time(connection: Connection) -> None:
    if connection.dialect.name == "postgresql":
        connection.execute(text("SELECT pg_advisory_xact_lock(hashtext('listening store'))"))


def _form(connection: Connection) -> str | None:
    names = set(inspect(connection).get_table_names())
    if MARK in names:
        return str(connection.scalar(text(f"SELECT version_num FROM {MARK}")))
    return FIRST if "sitting" in names else None


def _make(connection: Connection) -> None:
    tables.metadata.create_all(connection)
    connection.execute(text(f"CREATE TABLE {MARK} (version_num VARCHAR(32) NOT NULL PRIMARY KEY)"))
    connection.execute(text(f"INSERT INTO {MARK} VALUES ('{CURRENT}')"))


def _migrate_sqlite(engine: Engine, place: str) -> None:
    """Foreign keys off while tables are copied; they cannot be switched inside a transaction."""
    with engine.connect() as connection:
        connection.exec_driver_sql("COMMIT")
        connection.exec_driver_sql("PRAGMA foreign_keys=OFF")
        connection.exec_driver_sql("BEGIN IMMEDIATE")
        found = _form(connection)
        if found is not None and found != CURRENT:
            migrate(connection, found)
        connection.commit()
    engine.dispose()  # connections opened from now on check foreign keys again


def migrate(connection: Connection, found: str) -> None:
    """Run the steps from form `found` to the current one in the connection's transaction."""
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations"))
    config.attributes["connection"] = connection
    if MARK not in inspect(connection).get_table_names():
        command.stamp(config, found)
    command.upgrade(config, CURRENT)
