"""One process a sitting on a server: a lease that runs out by itself when its holder is dead."""

from types import TracebackType
from typing import Self

from sqlalchemy import Engine, func, select

from listening.errors import StudyError
from listening.store.engine import writing

LEASE_S = 120.0  # four heartbeats of a session


class Lease:
    """A held sitting; release it, or leave the `with` block."""

    def __init__(self, engine: Engine, place: str, sitting: str, *, holder: str, token: str | None) -> None:
        self._engine = engine
        self._place = place
        self._sitting = sitting
        self._holder = holder
        self._token = token

    def release(self) -> None:
        """Let another process have the sitting."""
        with writing(self._engine, self._place) as connection:
            connection.execute(select(func.booth_release(self._sitting, self._holder, self._token)))

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.release()


def take(
    engine: Engine, place: str, sitting: str, *, holder: str, lease_s: float, token: str | None = None
) -> Lease:
    """The lease on a sitting; `token` is what only this booth knows.

    Raises
    ------
    StudyError
        Another process holds it.
    """
    with writing(engine, place) as connection:
        if not connection.scalar(select(func.booth_hold(sitting, holder, lease_s, token))):
            raise StudyError(
                f"sitting {sitting} is open in another process; close that one first, "
                f"or wait {lease_s:.0f} s if it is dead, or ask for another slot"
            )
    return Lease(engine, place, sitting, holder=holder, token=token)


def handed_over(holder: str | None) -> str | None:
    """What stands in the place of a sitting's holder once any booth may take it up.

    The booths that had it are kept, by the hashes of their tokens: what they took down and could not send yet
    still counts. See functions.sql for the form.
    """
    parts = (holder or "").rsplit("/", 3)
    if len(parts) < 4:
        return None
    before = [mark for mark in (*parts[3].split(","), parts[1]) if mark]
    return "///" + ",".join(dict.fromkeys(before))
