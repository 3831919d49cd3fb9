"""One process a sitting: a lock that the operating system drops when its holder dies, however it dies."""

import fcntl
import os
from contextlib import suppress
from pathlib import Path
from types import TracebackType
from typing import Self

from listening.errors import CannotWrite, StudyError


class Hold:
    """A held sitting; release it, or leave the `with` block."""

    def __init__(self, path: Path, descriptor: int) -> None:
        self._path = path
        self._descriptor: int | None = descriptor

    def release(self) -> None:
        """Let another process have the sitting."""
        if self._descriptor is not None:
            self._path.unlink(missing_ok=True)
            os.close(self._descriptor)
            self._descriptor = None

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.release()


def hold(path: Path, sitting: str) -> Hold:
    """The lock file at `path`, held.

    Raises
    ------
    StudyError
        Another process holds the sitting.
    """
    while True:
        try:
            descriptor = os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
        except OSError as error:
            raise CannotWrite(
                f"{path}: cannot be written ({error.strerror}); give this user the right to write there"
            ) from error
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            os.close(descriptor)
            raise StudyError(
                f"sitting {sitting} is open in another process; close that one first, or ask for another slot"
            ) from error
        if _still_there(path, descriptor):
            _sweep(path)
            return Hold(path, descriptor)
        os.close(descriptor)  # its last holder removed the file between our two steps


def _sweep(mine: Path) -> None:
    """Remove the lock files of processes that died: those that nobody holds."""
    for path in mine.parent.glob("sitting-*.lock"):
        with suppress(OSError):
            if path != mine:
                descriptor = os.open(path, os.O_RDWR)
                try:
                    fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
                    path.unlink(missing_ok=True)
                finally:
                    os.close(descriptor)


def _still_there(path: Path, descriptor: int) -> bool:
    try:
        return os.stat(path).st_ino == os.fstat(descriptor).st_ino
    except FileNotFoundError:
        return False
