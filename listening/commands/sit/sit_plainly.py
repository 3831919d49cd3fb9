"""The sitting in plain lines: reads lines from the terminal while the sound and the clock go on."""

import select
import shutil
import sys
import textwrap
from collections.abc import Callable
from typing import TYPE_CHECKING

from listening.commands.sit import sit_ending
from listening.records.study import Study
from listening.tui import lines

WIDEST = 92  # columns of running text
if TYPE_CHECKING:
    from listening.session.seating.arrival import Arrival
    from listening.session.showing.view import View
    from listening.session.showing.words import Words


def run(study: Study, first: "View", open_station: "Callable[[], Arrival]", spoken: "Words") -> int:
    """Sit in lines; the exit code."""
    ended = sit_ending.Ended()
    _write(first.status)
    with sit_ending.messages_to(study.log):
        try:
            arrival = open_station()
            _write(arrival.words.text("line_opening"))
            with sit_ending.signals_raise(ended):
                _sit(arrival, ended)
        except sit_ending.Stopped:
            pass
        except Exception as error:
            ended.trouble = error
    return sit_ending.say(ended, study, spoken)


def _sit(arrival: "Arrival", ended: sit_ending.Ended) -> None:
    lines.run(arrival, read=_read, write=_write, until=lambda: arrival.sitting is not None)
    if arrival.sitting is not None:
        ended.sitting = arrival.sitting
        lines.run(arrival.sitting, read=_read, write=_write)


def _read(wait_s: float) -> str | None:
    """A line, if one comes in time."""
    if not select.select([sys.stdin], [], [], wait_s)[0]:
        return None
    line = sys.stdin.readline()
    if not line:
        raise EOFError
    return line


def _write(text: str) -> None:
    width = min(shutil.get_terminal_size().columns - 1, WIDEST)
    print("\n".join(_wrapped(line, width) for line in text.split("\n")), flush=True)


def _wrapped(line: str, width: int) -> str:
    """A line broken between words; what follows stands under its first sign."""
    indent = " " * (len(line) - len(line.lstrip()))
    return textwrap.fill(
        line, width, subsequent_indent=2 * indent, break_long_words=False, break_on_hyphens=False
    )
