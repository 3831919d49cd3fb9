"""What a sitting needs of an answer store, and which store a study has: its own file, or a server."""

from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager
from pathlib import Path
from typing import Protocol

from listening.records.dealt.answer import Answer
from listening.records.dealt.server import Server
from listening.records.study import Study
from listening.store.booth import Booth, open_booth
from listening.store.store import EventRow, SittingRow, SlotUse, Store, open_store, utc_now


class AnswerStore(Protocol):
    """The calls of a sitting; `Store` and `Booth` both answer them."""

    def start_sitting(
        self, listener: str, *, slots: Sequence[int], study_digest: str, simulated: bool = False
    ) -> SittingRow:
        """A new sitting on the first free slot of `slots`."""

    def resume(
        self, *, listener: str | None = None, slot: int | None = None, simulated: bool = False
    ) -> SittingRow | None:
        """The sitting of that listener or slot, or None."""

    def hold(self, sitting: str) -> AbstractContextManager[object]:
        """The sitting kept from every other process."""

    def slot_use(self, *, simulated: bool) -> list[SlotUse]:
        """Which slots were given, and when their sittings were last alive."""

    def record(self, answer: Answer) -> None:
        """Keep one answer; durable when this returns."""

    def note(self, sitting: str | None, kind: str, *, trial: str | None = None, detail: str = "") -> None:
        """Keep that something happened."""

    def void(self, sitting: str, trial: str, reason: str) -> None:
        """Keep that a trial did not count."""

    def beat(self, sitting: str) -> None:
        """Say that the sitting is alive."""

    def finish(self, sitting: str) -> None:
        """Mark a sitting as complete."""

    def answered(self, sitting: str) -> dict[str, bool]:
        """The trials that have an answer, and whether each was practice."""

    def events(self, sitting: str | None = None) -> list[EventRow]:
        """What happened."""

    def head(self, sitting: str) -> str:
        """The hash that a sitting's chain has reached."""

    def waiting(self) -> int:
        """How many messages stay here because a server cannot be reached."""

    def close(self) -> None:
        """Close every connection."""


def place_of(study: Study) -> Path | str:
    """Where the answers of a study lie: the server that its station names, else its own file."""
    return Server.load(study.server).url if study.server.exists() else study.answers


def open_for_sitting(study: Study, *, now: Callable[[], str] = utc_now) -> Store | Booth:
    """The store that a listener's answers go to: with a booth's rights only, where there is a server."""
    place = place_of(study)
    if isinstance(place, str):
        return open_booth(place, study.spool, now=now)
    return open_store(place, now=now)
