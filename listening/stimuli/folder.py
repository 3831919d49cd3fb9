"""A folder that is replaced whole: whoever is killed half-way leaves the old one as it was."""

import ctypes
import secrets
import shutil
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from listening.errors import CannotWrite, ListeningError
from listening.records.forms import form

LEFTOVER_S = 3600.0  # a half-made folder older than this belongs to a step that was killed
RENAME_EXCHANGE = 2  # linux/fs.h
AT_FDCWD = -100  # fcntl.h: paths are relative to the working folder


@contextmanager
def replacing(folder: Path) -> Iterator[Path]:
    """An empty folder to fill; when the block ends well it takes the place of `folder`, else it vanishes.

    Raises
    ------
    CannotWrite
        The place cannot be written, or the disk is full; the old folder is unharmed.
    """
    prefix = f".{folder.name}-"
    fresh: Path | None = None
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        _put_back(folder, prefix)
        _sweep(folder.parent, prefix)
        made = folder.with_name(f"{prefix}{secrets.token_hex(4)}")
        made.mkdir()
        fresh = made
        yield fresh
        form.sync_folder(fresh)
        _swap(fresh, folder)
        form.sync_folder(folder.parent)
    except OSError as error:
        if isinstance(error, ListeningError):
            raise
        raise CannotWrite(
            f"{folder}: cannot be written ({error.strerror}); free space or make it writable; "
            "nothing was changed"
        ) from error
    finally:
        if fresh is not None:
            shutil.rmtree(fresh, ignore_errors=True)


def _put_back(folder: Path, prefix: str) -> None:
    """Where a system cannot exchange two folders at one instant, a cut may have left the old one aside."""
    for old in () if folder.exists() else sorted(folder.parent.glob(f"{prefix}*-old")):
        old.rename(folder)
        return


def _sweep(parent: Path, prefix: str) -> None:
    for leftover in parent.glob(f"{prefix}*"):
        if time.time() - leftover.stat().st_mtime > LEFTOVER_S:
            shutil.rmtree(leftover, ignore_errors=True)


def _swap(fresh: Path, folder: Path) -> None:
    """Put `fresh` at `folder` and what was there at `fresh`: at one instant where the system can."""
    if not folder.exists():
        fresh.rename(folder)
    elif not _exchanged(fresh, folder):
        old = fresh.with_name(f"{fresh.name}-old")
        folder.rename(old)
        fresh.rename(folder)
        old.rename(fresh)


def _exchanged(one: Path, other: Path) -> bool:
    if sys.platform != "linux":
        return False
    exchange = getattr(ctypes.CDLL(None, use_errno=True), "renameat2", None)
    if exchange is None:
        return False
    paths = bytes(one), bytes(other)
    return bool(exchange(AT_FDCWD, paths[0], AT_FDCWD, paths[1], RENAME_EXCHANGE) == 0)
