"""One process a sitting: a lock that the operating system drops when its holder dies, however it dies."""

import fcntl
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from types import TracebackType
from typing import Self

from listening.errors import CannotWrite, StudyError
from listening.records.forms import locks


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
    CannotWrite
        The folder cannot be written, or its drive knows no locks.
    """
    while True:
        try:
            descriptor = os.open(path, os.O_RDWR | os.O_CREAT, 0o666)
        except OSError as error:
            raise CannotWrite(
                f"{path}: cannot be written ({error.strerror}); give this user the right to write there"
            ) from error
        try:
            _lock(descriptor, path, fcntl.LOCK_EX)
        except BlockingIOError as error:
            raise StudyError(
                f"sitting {sitting} is open in another process; close that one first, or ask for another slot"
            ) from error
        if _still_there(path, descriptor):
            _sweep(path)
            return Hold(path, descriptor)
        os.close(descriptor)  # its last holder removed the file between our two steps


def stay(folder: Path) -> Callable[[], None]:
    """Say that somebody works in `folder`, until the function that comes back is called or this process ends.

    A drive that knows no locks says nothing; a sitting there is refused anyhow.
    """
    try:
        descriptor = os.open(folder, os.O_RDONLY)
    except OSError:
        return lambda: None
    with suppress(OSError):
        fcntl.flock(descriptor, fcntl.LOCK_SH | fcntl.LOCK_NB)
    left: list[int] = [descriptor]
    return lambda: os.close(left.pop()) if left else None


@contextmanager
def alone(folder: Path, found: str) -> Iterator[None]:
    """Nobody else works in `folder` while the block runs; the lock follows the folder when it is renamed.

    Raises
    ------
    StudyError
        Somebody does, with `found` as what to say.
    CannotWrite
        The drive knows no locks.
    """
    try:
        descriptor = os.open(folder, os.O_RDONLY)
    except OSError:  # not there yet: nobody is in it
        yield
        return
    try:
        _lock(descriptor, folder, fcntl.LOCK_EX, keep_open=True)
        yield
    except BlockingIOError as error:
        raise StudyError(found) from error
    finally:
        os.close(descriptor)


def _lock(descriptor: int, path: Path, kind: int, *, keep_open: bool = False) -> None:
    try:
        fcntl.flock(descriptor, kind | fcntl.LOCK_NB)
    except OSError as error:
        if not keep_open:
            os.close(descriptor)
        if error.errno not in locks.REFUSED:
            raise
        raise CannotWrite(locks.said(path, error)) from error


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
