"""The sitting in plain lines: reads lines from the terminal while the sound and the clock go on."""

import select
import sys
from collections.abc import Callable
from typing import TYPE_CHECKING

from listening.commands import sit_ending
from listening.records.study import Study
from listening.tui import lines

if TYPE_CHECKING:
    from listening.session.sitting import Sitting
    from listening.session.view import View


def run(study: Study, first: "View", open_sitting: "Callable[[], Sitting]") -> int:
    """Sit in lines; the exit code."""
    ended = sit_ending.Ended()
    _write("\n\n".join([f"== {first.heading}", *first.body, first.status]))
    with sit_ending.messages_to(study.log):
        try:
            ended.sitting = open_sitting()
            _write(ended.sitting.words.text("line_opening"))
            with sit_ending.signals_raise(ended):
                lines.run(ended.sitting, read=_read, write=_write)
        except sit_ending.Stopped:
            pass
        except Exception as error:
            ended.trouble = error
    return sit_ending.say(ended, study)


def _read(wait_s: float) -> str | None:
    """A line, if one comes in time."""
    if not select.select([sys.stdin], [], [], wait_s)[0]:
        return None
    line = sys.stdin.readline()
    if not line:
        raise EOFError
    return line


def _write(text: str) -> None:
    print(text, flush=True)
