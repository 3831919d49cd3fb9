"""The server's functions and roles (PostgreSQL), from the SQL files beside this one."""

from importlib import resources

from sqlalchemy import Connection

from listening.store import tables


def install(connection: Connection) -> None:
    """Make or renew the functions; nobody but their owner may call them until the roles are made."""
    _run(connection, functions_sql())


def make_roles(connection: Connection) -> None:
    """Make the roles and set what each may do; needs a user who may create roles."""
    _run(connection, roles_sql())


def functions_sql() -> str:
    """The functions, with the columns of the answer table filled in."""
    columns = [column.name for column in tables.answer.columns if column.name != "id"]
    text = _file("ledger.sql") + _file("functions.sql")
    for mark, prefix in (("{columns}", ""), ("{a_columns}", "a."), ("{n_columns}", "n.")):
        text = text.replace(mark, ", ".join(prefix + column for column in columns))
    return text


def roles_sql() -> str:
    """The roles booth, desk and analyst."""
    return _file("roles.sql")


def _run(connection: Connection, sql: str) -> None:
    connection.execution_options(no_parameters=True).exec_driver_sql(sql)  # a % in it is a %


def _file(name: str) -> str:
    return resources.files("listening.store").joinpath(name).read_text(encoding="utf-8")
