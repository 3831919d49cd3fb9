"""What a sitting writes, and nothing else: a value that came in some other way is named where it is read.

`checks.sql` holds the same rules for what a booth sends.
"""

import math
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any

from listening.errors import RecordError
from listening.records.kinds import tasks
from listening.records.protocols.sessions import OVER

CODE = r"[A-Za-z0-9_.-]{1,64}(@[A-Za-z0-9_-]{1,24}){0,8}"  # a listener's, with the sites of merges
NAME = r"[^\x00-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\ud800-\udfff]{1,200}"
ID = r"[A-Za-z0-9_-]{1,64}"
CLIPS = r"[A-Za-z0-9_-]{1,64}( [A-Za-z0-9_-]{1,64}){0,63}"
BOOTH_KINDS = {  # of the events of a sitting; what a store itself writes down is not among them
    "agreed",
    "began",
    "caution",
    "closed",
    "comment",
    "conditions",
    "declined",
    "finished",
    "hearing check",
    "help",
    "late",
    "introduced",
    "left",
    "level set",
    "opened",
    "paused",
    "rehearsed",
    "rested",
    "revised",
    "sent",
    OVER,
    "taken back",
    "told",
    "trained",
    "void",
}
LONGEST_RESPONSE_S = 1e6
MOST_PLAYS = 100_000
MOST_SLOTS = 1_000_000
LONGEST_DETAIL = 20_000
# a named reference besides stands in the plan
N_CLIPS = {task.name: task.sounds for task in tasks.ALL if task.sounds is not None}

Rule = tuple[Callable[[Any], bool], str]


def _text(pattern: str) -> Callable[[Any], bool]:
    compiled = re.compile(pattern)
    return lambda value: isinstance(value, str) and compiled.fullmatch(value) is not None


def _time(value: Any) -> bool:
    if not isinstance(value, str) or len(value) > 40 or not value.isascii():
        return False
    try:
        return datetime.fromisoformat(value).tzinfo is not None
    except ValueError:
        return False


def _whole(most: int) -> Callable[[Any], bool]:
    return lambda value: isinstance(value, int) and not isinstance(value, bool) and 0 <= value <= most


def _detail(value: Any) -> bool:
    return isinstance(value, str) and len(value) <= LONGEST_DETAIL and "\x00" not in value


def _seconds(value: Any) -> bool:
    return isinstance(value, float | int) and math.isfinite(value) and 0 <= value <= LONGEST_RESPONSE_S


def _or_none(fits: Callable[[Any], bool]) -> Callable[[Any], bool]:
    return lambda value: value is None or fits(value)


_NAME, _TIME = (_text(NAME), "a word of at most 200 signs"), (_time, "a time with its zone, ISO 8601")
RULES: Mapping[str, Rule] = {
    "sitting": (_text(ID), "an id of letters and digits"),
    "id": (_text(ID), "an id of letters and digits"),
    "listener": (_text(CODE), "a code of letters, digits, - and _"),
    "slot": (_whole(MOST_SLOTS), "the number of a slot"),
    "trial": _NAME,
    "attribute": _NAME,
    "task": _NAME,
    "clips": (_text(CLIPS), "clip codes with a blank between"),
    "answer": _NAME,
    "response_s": (_seconds, "seconds"),
    "plays": (_whole(MOST_PLAYS), "a number of plays"),
    "practice": (lambda value: value in (True, False), "yes or no"),
    "simulated": (lambda value: value in (True, False), "yes or no"),
    "answered_at": _TIME,
    "site": (_text(r"[A-Za-z0-9_-]{0,24}"), "the name of a site, or nothing"),
    "study_digest": (_text(r"[0-9a-zA-Z]{1,64}"), "a hash"),
    "started_at": _TIME,
    "at": _TIME,
    "finished_at": (_or_none(_time), _TIME[1]),
    "heartbeat_at": (_or_none(_time), _TIME[1]),
    "kind": _NAME,
    "detail": (_detail, "a text"),
}


def row(place: str, table: str, values: Mapping[str, Any], *, may_lack: Iterable[str] = ()) -> None:
    """Refuse a row with a value that no sitting writes.

    Raises
    ------
    RecordError
        The first such value, with the place, the table and the column.
    """
    lacking = set(may_lack)
    for name, value in values.items():
        if name in RULES and not (value is None and name in lacking) and not RULES[name][0](value):
            raise _refused(place, table, name, value)
    _check_clips(place, values.get("task"), values.get("clips"))


def columns(place: str, found: Mapping[str, Sequence[Any]]) -> None:
    """Refuse answers, given as columns, with such a value; as `row`."""
    for name, cells in found.items():
        fits = RULES[name][0]
        for value in set(cells):
            if not fits(value):
                raise _refused(place, "answer", name, value)
    for task, clips in set(zip(found.get("task", ()), found.get("clips", ()), strict=True)):
        _check_clips(place, task, clips)


def _check_clips(place: str, task: Any, clips: Any) -> None:
    if isinstance(clips, str) and task in N_CLIPS and len(clips.split(" ")) != N_CLIPS[task]:
        raise _refused(place, "answer", "clips", clips, f"{N_CLIPS[task]} clips for {task}")


def _refused(place: str, table: str, name: str, value: Any, wanted: str = "") -> RecordError:
    shown = repr(value)
    shown = shown if len(shown) <= 60 else f"{shown[:57]}..."
    return RecordError(
        f"{place}: table {table}, column {name}: found {shown}, which no sitting writes; wanted "
        f"{wanted or RULES[name][1]}; find out how it came there, and put back a copy or remove that row"
    )
