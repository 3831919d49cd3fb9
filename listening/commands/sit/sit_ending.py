"""Around a sitting: library messages go to the log, signals end it cleanly, last words hold codes only."""

import os
import signal
import sys
import traceback
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Protocol, TextIO

from listening.errors import CannotWrite, ListeningError
from listening.records.study import Study

if TYPE_CHECKING:
    from listening.session.showing.words import Words
    from listening.session.sitting import Sitting
    from listening.tui.app import StationApp

SIGNALS = (signal.SIGTERM, signal.SIGHUP, signal.SIGINT)
PACKAGE = Path(__file__).resolve().parents[2]


class Ending(Protocol):
    """What is known when a sitting's program ends, whichever screen it had."""

    trouble: Exception | None
    ended_by: int
    """The signal that ended it, or 0."""

    @property
    def sitting(self) -> "Sitting | None":
        """The sitting, if its seat was taken."""


@dataclass
class Ended:
    """The ending of a sitting without a full screen."""

    sitting: "Sitting | None" = None
    trouble: Exception | None = None
    ended_by: int = 0


class Stopped(BaseException):
    """A signal came; raised out of whatever was waiting."""


@contextmanager
def signals_raise(ended: Ended) -> Iterator[None]:
    """While the block runs, signals that end a program raise `Stopped` and are noted."""

    def end(number: int, _frame: object) -> None:
        ended.ended_by = number
        raise Stopped

    before = {number: signal.signal(number, end) for number in SIGNALS}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


@contextmanager
def messages_to(log: Path) -> Iterator[None]:
    """While the block runs, what libraries print on file descriptor 2 goes to the log, not over the screen.

    The terminal stays reachable as sys.__stderr__, which is what the screen is drawn on.
    """
    try:
        sink = os.open(log, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o644)
    except OSError as error:
        raise CannotWrite(
            f"{log}: cannot be written ({error.strerror}); give this user the right "
            "to write to the station folder"
        ) from error
    terminal = os.dup(2)
    before = sys.__stderr__
    os.dup2(sink, 2)
    os.close(sink)
    sys.__stderr__ = os.fdopen(terminal, "w", closefd=False)  # type: ignore[misc]
    try:
        yield
    finally:
        with suppress(OSError):  # the window may be closed already
            sys.__stderr__.flush()
        sys.__stderr__ = before  # type: ignore[misc]
        os.dup2(terminal, 2)
        os.close(terminal)


def terminal() -> TextIO:
    """What the screen is drawn on, also while library messages go to the log."""
    return sys.__stderr__ or sys.stderr


@contextmanager
def signals_wait() -> Iterator[None]:
    """Signals that come while the block runs are delivered at its end."""
    signal.pthread_sigmask(signal.SIG_BLOCK, SIGNALS)
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_UNBLOCK, SIGNALS)


def on_signals(app: "StationApp") -> None:
    """SIGTERM and a closed terminal end the sitting as leaving does."""

    def end(number: int, _frame: object) -> None:
        import asyncio  # with the full screen it is loaded already

        app.ended_by = number
        try:
            loop = asyncio.get_running_loop()
        except RuntimeError:
            raise SystemExit(128 + number) from None  # before or after the screen: nothing to tidy
        loop.call_soon_threadsafe(app.exit)

    for number in SIGNALS:
        signal.signal(number, end)


def say(app: Ending, study: Study, words: "Words") -> int:
    """The last words on the terminal, in the study's language, and the exit code.

    What only the person in charge can mend comes in English behind a line for the listener.
    """
    sitting, trouble = app.sitting, app.trouble
    if sitting is not None:
        with suppress(ListeningError):
            sitting.stop()
    if trouble is not None:
        print(words.text("last_not_begun" if sitting is None else "last_stopped"), file=sys.stderr)
    if isinstance(trouble, ListeningError):
        raise trouble
    if trouble is not None:
        _log(study.log, crash_lines(trouble))
        print(crash_lines(trouble)[0], file=sys.stderr)
        return 1
    if sitting is not None and not sitting.state.is_finished:
        code = sitting.row.listener
        print(words.text("last_go_on", command=f"listening sit {study.root} --listener {code}"))
    if sitting is not None:
        digest, listener = sitting.plan.study_digest[:16], sitting.row.listener
        print(words.text("last_notes", study=digest, listener=listener, code=sitting.code()))
    waiting = 0 if sitting is None else sitting.close()
    if waiting:
        command = f"listening booths {study.root} --send"
        print(words.text("last_waiting", n=waiting, command=command))
    return 128 + app.ended_by if app.ended_by else 0


def crash_lines(error: BaseException) -> list[str]:
    """A fault of ours, told by place alone: messages and variables might hold what must stay blind."""
    frames = [
        f"{Path(frame.filename).resolve().relative_to(PACKAGE)} line {frame.lineno}"
        for frame in traceback.extract_tb(error.__traceback__)
        if Path(frame.filename).resolve().is_relative_to(PACKAGE)
    ]
    where = frames[-1] if frames else "a library"
    head = (
        f"listening: the program stopped by a fault of its own ({type(error).__name__} in {where}). "
        "Every confirmed answer is kept. Please tell the person in charge; the same command goes on."
    )
    return [head, *frames]


def _log(path: Path, lines: list[str]) -> None:
    stamp = datetime.now(UTC).isoformat(timespec="seconds")
    with suppress(OSError), path.open("a", encoding="utf-8") as file:
        file.writelines(f"{stamp} {line}\n" for line in lines)
