"""One process a sitting on a server: a lease that runs out by itself when its holder is dead."""

from types import TracebackType
from typing import Self

from sqlalchemy import Engine, func, select

from listening.errors import StudyError
from listening.store.engine import writing

LEASE_S = 120.0  # four heartbeats of a session


class Lease:
    """A held sitting; release it, or leave the `with` block."""

    def __init__(self, engine: Engine, place: str, sitting: str, holder: str) -> None:
        self._engine = engine
        self._place = place
        self._sitting = sitting
        self._holder = holder

    def release(self) -> None:
        """Let another process have the sitting."""
        with writing(self._engine, self._place) as connection:
            connection.execute(select(func.booth_release(self._sitting, self._holder)))

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.release()


def take(engine: Engine, place: str, sitting: str, *, holder: str, lease_s: float) -> Lease:
    """The lease on a sitting.

    Raises
    ------
    StudyError
        Another process holds it.
    """
    with writing(engine, place) as connection:
        if not connection.scalar(select(func.booth_hold(sitting, holder, lease_s))):
            raise StudyError(
                f"sitting {sitting} is open in another process; close that one first, "
                f"or wait {lease_s:.0f} s if it is dead, or ask for another slot"
            )
    return Lease(engine, place, sitting, holder)
