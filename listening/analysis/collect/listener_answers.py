"""What listeners said of themselves and how their hearing check went: one row a listener, by their codes."""

import json
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import pandas as pd

from listening.records.protocols.protocol import Protocol
from listening.records.protocols.protocol_parts import Ask
from listening.store.store import EventRow, SittingRow

TOLD, CHECKED = "told", "hearing check"
ASKED = "asked_{}"
EARS = ("left", "right")
Own = Mapping[str, Mapping[str, Any]]
"""By listener, by column."""


def of_events(sittings: Sequence[SittingRow], events: Iterable[EventRow]) -> dict[str, dict[str, Any]]:
    """Columns of each listener: asked_1, asked_2 ... as answered, and those of the hearing check.

    A question answered twice, because the sitting went on after a stop, counts as answered last.
    """
    listener = {row.id: row.listener for row in sittings}
    found: dict[str, dict[str, Any]] = {row.listener: {} for row in sittings}
    for event in events:
        if event.sitting not in listener:
            continue
        own = found[listener[event.sitting]]
        if event.kind == TOLD:
            number, _, answer = event.detail.partition("|")
            own[ASKED.format(int(number) + 1)] = answer
        elif event.kind == CHECKED:
            own.update(_checked(event.detail))
    return found


def frame(own: Own, names: Sequence[str]) -> pd.DataFrame:
    """A row for each of `names`, in that order; empty where nothing was said."""
    return pd.DataFrame([{"listener": name, **own.get(name, {})} for name in names])


def meanings(asked: Sequence[Ask]) -> dict[str, str]:
    """What each column says."""
    said = {ASKED.format(i): one.wording for i, one in enumerate(asked, start=1)}
    return said | {
        "hearing_ears_apart_db": "dB; largest difference between the ears; a screening, no medical test",
        "hearing_tones_unheard": "tones of the hearing check that were not heard at their loudest",
        "hearing_steady": "share of thresholds of the hearing check that settled",
        "hearing_false_alarms": "keys pressed without a tone",
    }


def groups(own: Own, protocol: Protocol) -> dict[str, set[str]]:
    """Of each question that is planned for a subgroup, by its id, who belongs to it."""
    asked = [one.wording for one in protocol.sitting.questionnaire]
    found = {}
    for question in protocol.questions:
        if question.among is not None:
            column, wanted = ASKED.format(asked.index(question.among.wording) + 1), question.among.answers
            found[question.id] = {n for n, cells in own.items() if cells.get(column) in wanted}
    return found


def _checked(detail: str) -> dict[str, Any]:
    try:
        told = json.loads(detail)
    except ValueError:  # it was skipped
        return {}
    levels: dict[float, dict[str, list[float | None]]] = {}
    for part in told["parts"]:
        levels.setdefault(part["frequency_hz"], {}).setdefault(part["ear"], []).append(part["threshold_db"])
    apart = [
        abs(left - right)
        for ears in levels.values()
        if (left := ears.get(EARS[0], [None])[0]) is not None
        and (right := ears.get(EARS[1], [None])[0]) is not None
    ]
    return {
        "hearing_ears_apart_db": max(apart, default=None),
        "hearing_tones_unheard": sum(part["threshold_db"] is None for part in told["parts"]),
        "hearing_steady": sum(part["steady"] for part in told["parts"]) / len(told["parts"]),
        "hearing_false_alarms": told["false_alarms"],
    }
