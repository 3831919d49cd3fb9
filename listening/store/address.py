"""The address of a database server: which driver, and no password in it."""

import os
from pathlib import Path

from sqlalchemy import URL, make_url
from sqlalchemy.exc import ArgumentError

from listening.errors import StudyError
from listening.records.forms.text import plain

POSTGRESQL = "postgresql+psycopg"
PARAMETERS = {"host", "port", "dbname", "sslmode", "sslrootcert", "connect_timeout", "application_name"}
ENCRYPTED = ("require", "verify-ca", "verify-full")
LOCAL = ("", "localhost", "127.0.0.1", "::1")


def is_url(place: Path | str) -> bool:
    """Whether a place is a server's address, no file."""
    return isinstance(place, str) and "://" in place


def parse(place: str) -> URL:
    """The address, checked.

    Raises
    ------
    StudyError
        It is no PostgreSQL address, holds a password or another secret, or leads to another machine without
        TLS and without saying so.
    """
    try:
        url = make_url(place)
    except (ArgumentError, ValueError):
        raise StudyError(
            "not a database address; wanted postgresql://HOST/DATABASE, or postgresql:///DATABASE?host=FOLDER"
        ) from None
    names = [url.database or "", *map(str, url.query.values())]
    if url.password is not None or strange_parameters(url) or any(_is_list(name) for name in names):
        named = ", ".join(strange_parameters(url)) or "a password"
        raise StudyError(
            f"{shown(url)}: holds {named}; an address goes into files, process lists and logs, so it may "
            f"hold {', '.join(sorted(PARAMETERS))} alone; secrets belong in the environment (PGPASSWORD, "
            "PGPASSFILE, PGSSLPASSWORD) or in ~/.pgpass"
        )
    if url.get_backend_name() != "postgresql":
        raise StudyError(f"{shown(url)}: {url.get_backend_name()} is not known here; wanted postgresql://...")
    if needs_tls(url) and "sslmode" not in url.query:
        raise StudyError(
            f"{shown(url)}: {_why_elsewhere()}, and nothing asks for an encrypted connection; set "
            "PGSSLMODE=verify-full (and PGSSLROOTCERT), or publish the study again with --plain-connection "
            "where the line is safe in another way"
        )
    return url.set(drivername=POSTGRESQL)


def _is_list(name: str) -> bool:
    """Whether a database's name would be taken for a list of parameters, which may hold a password."""
    return "=" in name or "://" in name


def strange_parameters(url: URL) -> list[str]:
    """What an address may not hold beside host and database: secrets go by many names, so few are let in."""
    return sorted(plain(name)[:40] for name in url.query if name.lower() not in PARAMETERS)


def needs_tls(url: URL) -> bool:
    """Whether the server is on another machine and no TLS is asked for, here or in the environment."""
    hosts = url.query.get("host", url.host or os.environ.get("PGHOST", ""))
    names = [*([hosts] if isinstance(hosts, str) else hosts), os.environ.get("PGHOSTADDR", "")]
    has_service = bool(os.environ.get("PGSERVICE"))  # a file may name any machine, and goes before PGSSLMODE
    is_here = all(name in LOCAL or name.startswith("/") for part in names for name in part.split(","))
    mode = url.query.get("sslmode", "" if has_service else os.environ.get("PGSSLMODE", ""))
    return (has_service or not is_here) and mode not in ENCRYPTED


def _why_elsewhere() -> str:
    if os.environ.get("PGSERVICE"):
        return "may be another machine, as PGSERVICE says (unset it, or write sslmode=verify-full here)"
    return "is another machine"


def without_tls(place: str) -> str:
    """The same address, saying aloud that the connection need not be encrypted."""
    url = make_url(place)
    return url.update_query_dict({"sslmode": "prefer"}).render_as_string()


def shown(url: URL) -> str:
    """An address without what may be secret in it."""
    named = None if _is_list(url.database or "") else url.database
    bare = URL.create(url.drivername, host=url.host, port=url.port, database=named)
    return plain(bare.render_as_string())


def without_user(place: str) -> str:
    """The address for everybody: who logs in comes from each one's environment."""
    url = parse(place)
    return URL.create(
        "postgresql", host=url.host, port=url.port, database=url.database, query=url.query
    ).render_as_string()
