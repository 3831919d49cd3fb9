"""The server's functions and roles (PostgreSQL), from the SQL files beside this one."""

import json
from importlib import resources

from sqlalchemy import Connection

from listening.store import checked, tables

_LIMITS = {  # as in checked.py
    "{control}": "[\\x01-\\x1f\\x7f-\\u009f\\u202a-\\u202e\\u2066-\\u2069]",
    "{code}": checked.CODE,
    "{clips}": checked.CLIPS,
    "{n_clips}": json.dumps(checked.N_CLIPS),
    "{kinds}": "{" + ",".join(f'"{kind}"' for kind in sorted(checked.BOOTH_KINDS)) + "}",
    "{longest_response_s}": f"{checked.LONGEST_RESPONSE_S:.0f}",
    "{most_plays}": str(checked.MOST_PLAYS),
    "{most_slots}": str(checked.MOST_SLOTS),
    "{longest_detail}": str(checked.LONGEST_DETAIL),
    "{longest_lease_s}": "600",
    "{most_held}": "32",
    "{most_rows}": "20000",
}


def install(connection: Connection) -> None:
    """Make or renew the functions; nobody but their owner may call them until the roles are made."""
    _run(connection, functions_sql())


def make_roles(connection: Connection) -> None:
    """Make the roles and set what each may do; needs a user who may create roles."""
    _run(connection, roles_sql())


def functions_sql() -> str:
    """The functions, with the columns of the answer table filled in."""
    columns = [column.name for column in tables.answer.columns if column.name != "id"]
    text = _file("ledger.sql") + _file("checks.sql") + _file("functions.sql")
    for mark, value in _LIMITS.items():
        text = text.replace(mark, value)
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
