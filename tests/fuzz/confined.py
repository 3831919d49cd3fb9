"""A process that can write nowhere but below given folders, by Linux's Landlock.

Hostile words name `/`, `/dev/null` and the folder above: without this a command that obeys them harms the
machine. Numbers and structures: kernel documentation, userspace-api/landlock, and linux/landlock.h.
"""

import ctypes
import os
import struct
from collections.abc import Iterable
from pathlib import Path

CREATE_RULESET, ADD_RULE, RESTRICT_SELF = 444, 445, 446  # the same number on every architecture
VERSION = 1  # flag of the first call: tell the version and make nothing
BELOW_A_PATH = 1
NO_NEW_PRIVILEGES = 38
WRITE_FILE, REFER, TRUNCATE = 1 << 1, 1 << 13, 1 << 14
CHANGES = WRITE_FILE | sum(1 << bit for bit in range(4, 13))  # and removing and making files of every kind
_libc = ctypes.CDLL(None, use_errno=True)


def version() -> int:
    """The version of Landlock that this kernel has; 0 for none."""
    return max(_libc.syscall(CREATE_RULESET, None, ctypes.c_size_t(0), VERSION), 0)


def confine(folders: Iterable[Path]) -> None:
    """From now on this process and its children change files below `folders` alone (and `/dev/null`).

    Raises
    ------
    OSError
        The kernel has no Landlock, or refuses.
    """
    handled = CHANGES | (REFER if version() >= 2 else 0) | (TRUNCATE if version() >= 3 else 0)
    rules = _done(_libc.syscall(CREATE_RULESET, struct.pack("=Q", handled), ctypes.c_size_t(8), 0))
    for folder in folders:
        _allow(rules, folder, handled)
    _allow(rules, Path(os.devnull), handled & (WRITE_FILE | TRUNCATE))
    _done(_libc.prctl(NO_NEW_PRIVILEGES, 1, 0, 0, 0))
    _done(_libc.syscall(RESTRICT_SELF, rules, 0))
    os.close(rules)


def _allow(rules: int, path: Path, access: int) -> None:
    place = os.open(path, os.O_PATH | os.O_CLOEXEC)
    _done(_libc.syscall(ADD_RULE, rules, BELOW_A_PATH, struct.pack("=Qi", access, place), 0))
    os.close(place)


def _done(result: int) -> int:
    if result < 0:
        number = ctypes.get_errno()
        raise OSError(number, f"Landlock: {os.strerror(number)}")
    return result
