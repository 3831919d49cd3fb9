"""The address of a database server: which driver, and no password in it."""

from pathlib import Path

from sqlalchemy import URL, make_url
from sqlalchemy.exc import ArgumentError

from listening.errors import StudyError

POSTGRESQL = "postgresql+psycopg"


def is_url(place: Path | str) -> bool:
    """Whether a place is a server's address, no file."""
    return isinstance(place, str) and "://" in place


def parse(place: str) -> URL:
    """The address, checked.

    Raises
    ------
    StudyError
        It is no PostgreSQL address, or holds a password.
    """
    try:
        url = make_url(place)
    except ArgumentError as error:
        raise StudyError(
            f"not a database address; wanted postgresql://USER@HOST/DATABASE ({error})"
        ) from None
    if url.password is not None or "password" in url.query:
        raise StudyError(
            f"{url.render_as_string(hide_password=True)}: holds a password, which process lists "
            "and logs would show; take it out and put it in the environment (PGPASSWORD, PGPASSFILE) "
            "or in ~/.pgpass"
        )
    if url.get_backend_name() != "postgresql":
        raise StudyError(f"{place}: {url.get_backend_name()} is not known here; wanted postgresql://...")
    return url.set(drivername=POSTGRESQL)


def without_user(place: str) -> str:
    """The address for everybody: who logs in comes from each one's environment."""
    url = parse(place)
    return URL.create(
        "postgresql", host=url.host, port=url.port, database=url.database, query=url.query
    ).render_as_string()
