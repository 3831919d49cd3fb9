"""What no word typed after a command may hold: it would get into messages and files."""

import re
from collections.abc import Sequence

from listening.records.forms import text

PASSWORD = re.compile(r"[A-Za-z][A-Za-z0-9+]*://[^/\s@]*:[^/\s@]+@")
HALVES = re.compile("[\ud800-\udfff]")  # bytes of a file's name that is no UTF-8


def fault_in(words: Sequence[str], *, tells_itself: bool = False) -> str:
    """What is wrong with the words, plainly and without repeating a secret; empty where nothing is.

    Parameters
    ----------
    tells_itself : the command says itself what control characters are for; they are let through
    """
    if any(PASSWORD.search(word) for word in words):
        return (
            "an address on this line holds a password, which everybody on this machine could read; secrets "
            "belong in the environment (PGPASSWORD, PGPASSFILE) or in ~/.pgpass; nothing was done"
        )
    for word in () if tells_itself else (HALVES.sub("", one) for one in words):
        if (at := text.control_at(word)) is not None:
            return (
                f"found the control character U+{ord(word[at]):04X} in {text.plain(word)[:80]}, wanted text; "
                "type it anew; nothing was done"
            )
    return ""
