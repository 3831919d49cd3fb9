"""The welcome before anything large is loaded: a few lines written straight to the terminal.

The full screen takes over the same picture; nothing here reads a key.
"""

import os
import textwrap
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING, TextIO

if TYPE_CHECKING:
    from listening.session.showing.view import View

BEGIN = (
    "\x1b[?1049h\x1b[?25l\x1b[H\x1b[2J"  # the other screen, no cursor, empty (ECMA-48; xterm's private modes)
)
END = "\x1b[?25h\x1b[?1049l"
MARGIN = 4  # the full screen's own, see station.tcss
WIDEST = 92
USUAL = (80, 24)  # where the terminal does not know its size


@contextmanager
def shown(view: "View", terminal: TextIO) -> Iterator[None]:
    """Draw a view; when the block ends, however it ends, the terminal is as it was before.

    Keys are not echoed meanwhile.
    """
    with _no_echo(terminal.fileno()):
        columns, rows = os.get_terminal_size(terminal.fileno())
        terminal.write(BEGIN + "\r\n".join(lines(view, columns or USUAL[0], rows or USUAL[1])))
        terminal.flush()
        try:
            yield
        finally:
            with suppress(OSError):  # the window may be closed already
                terminal.write(END)
                terminal.flush()


def lines(view: "View", columns: int, rows: int) -> list[str]:
    """The screen's lines, no longer and no more than fit."""
    width = max(1, min(WIDEST, columns - 2 * MARGIN))
    made = [f"  {view.heading}", "─" * columns, ""]
    for text in (*view.body, view.status):
        made += [" " * MARGIN + line for line in textwrap.wrap(text, width)] + [""]
    return [line[:columns] for line in made[: rows - 1]]


@contextmanager
def _no_echo(descriptor: int) -> Iterator[None]:
    import termios

    try:
        before = termios.tcgetattr(descriptor)
    except termios.error:  # no terminal: nothing is echoed
        yield
        return
    silent = [*before]
    silent[0] = before[0] & ~termios.ICRNL  # Enter typed now is Enter when the full screen reads it
    silent[3] = before[3] & ~(termios.ECHO | termios.ICANON)
    termios.tcsetattr(descriptor, termios.TCSANOW, silent)
    try:
        yield
    finally:
        with suppress(termios.error):
            termios.tcsetattr(descriptor, termios.TCSANOW, before)
