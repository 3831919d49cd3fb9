"""A piece of work cut at every step that changes the disk: the process is gone before it, as after SIGKILL.

Forks a process for each cut, so nothing is imported anew and no `finally` runs in the one that is cut.
"""

import hashlib
import os
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from listening.stimuli import folder

STEPS = ("rename", "replace", "fsync", "unlink", "remove", "rmdir", "mkdir", "chmod", "link")
GONE = 137
HANGS_S = 60.0


def without_waiting(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let no sync wait for the disk: a killed process leaves the kernel's pages whole, synced or not.

    What a loss of power leaves is another matter (`power.py`); a sync stays a step like others.
    """
    monkeypatch.setattr(os, "fsync", lambda descriptor: None)


def n_steps(work: Callable[[], object]) -> int:
    """How many such steps `work` takes; it is done in a process of its own."""
    read, write = os.pipe()
    pid = os.fork()
    if not pid:
        counter = _watch(stop_before=None)
        try:
            work()
            os.write(write, str(counter[0]).encode())
        finally:
            os._exit(0)
    os.close(write)
    said = os.read(read, 32)
    os.close(read)
    os.waitpid(pid, 0)
    return int(said)


def cut(work: Callable[[], object], before_step: int) -> bool:
    """Do `work` in a process of its own that is gone before its n-th step; whether it got that far.

    Raises
    ------
    AssertionError
        It hangs.
    """
    pid = os.fork()
    if not pid:
        try:
            _watch(stop_before=before_step)
            work()
        finally:
            os._exit(0)
    end = time.monotonic() + HANGS_S
    while time.monotonic() < end:
        done, status = os.waitpid(pid, os.WNOHANG)
        if done:
            return os.waitstatus_to_exitcode(status) == GONE
        time.sleep(0.002)
    os.kill(pid, 9)
    os.waitpid(pid, 0)
    raise AssertionError(f"cut before step {before_step}: hangs")


def contents(root: Path) -> dict[str, str]:
    """Every file below `root`, hidden ones too, with the hash of its bytes."""
    return {str(p.relative_to(root)): _hash(p) for p in sorted(root.rglob("*")) if p.is_file()}


def missing(before: dict[str, str], root: Path) -> set[str]:
    """Which of the files of `before` lie nowhere below `root` any more, under whatever name."""
    here = set(contents(root).values())
    return {name for name, digest in before.items() if digest not in here}


def some(n: int, at_most: int) -> Iterator[int]:
    """Steps 1 to n, or evenly spread ones, the last among them."""
    yield from sorted({1 + round(i * (n - 1) / max(at_most - 1, 1)) for i in range(min(n, at_most))})


def _hash(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def _watch(*, stop_before: int | None) -> list[int]:
    counter = [0]

    def watched(function: Callable[..., Any]) -> Callable[..., Any]:
        def call(*args: Any, **more: Any) -> Any:
            counter[0] += 1
            if counter[0] == stop_before:
                os._exit(GONE)
            return function(*args, **more)

        return call

    for name in STEPS:
        setattr(os, name, watched(getattr(os, name)))
    folder._exchanged = watched(folder._exchanged)
    return counter
