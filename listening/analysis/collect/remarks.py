"""What stands beside the answers in words: listeners' comments, and the room as it was noted."""

from collections import Counter
from collections.abc import Iterable, Sequence

import pandas as pd

from listening.records.dealt.plan import Plan
from listening.records.found.findings_study import Remark, RoomNoted
from listening.store.store import EventRow, SittingRow

COMMENT, CONDITIONS = "comment", "conditions"  # kinds of events
AT_END = "at the end"
MEANINGS = {
    "comments": {
        "listener": "code of the listener; no name is kept",
        "trial": "number of the trial in the sitting that the comment is about, or `at the end`",
        "comment": "in the listener's own words",
    },
    "rooms": {
        "listener": "code of the listener; no name is kept",
        "room": "how the room was, as the assistant noted it before this run of the sitting",
    },
}


def of_listeners(
    plan: Plan, sittings: Sequence[SittingRow], events: Iterable[EventRow]
) -> tuple[Remark, ...]:
    """Comments by listener and attribute, never by sound: a comment tells no more of a clip than its words.

    In an order of their own, whatever order the store has them in.
    """
    made = []
    slots = {slot.slot: {trial.trial: trial.attribute for trial in slot.trials} for slot in plan.slots}
    by_sitting = {row.id: row for row in sittings}
    for event in events:
        row = by_sitting.get(str(event.sitting))
        text = _text(event)
        if row is not None and text:
            about = slots.get(row.slot, {}).get(str(event.trial), AT_END)
            made.append(Remark(listener=row.listener, about=about, text=text))
    return tuple(sorted(made, key=lambda one: (one.listener, one.about, one.text)))


def of_rooms(sittings: Sequence[SittingRow], events: Iterable[EventRow]) -> tuple[RoomNoted, ...]:
    """Each room as it was noted, and how often a sitting was begun in it."""
    kept = {row.id for row in sittings}
    counts = Counter(e.detail for e in events if e.kind == CONDITIONS and str(e.sitting) in kept)
    return tuple(RoomNoted(room=room, n_begun=n) for room, n in sorted(counts.items()))


def _text(event: EventRow) -> str:
    """What a comment says; empty where it is none, or nothing was written."""
    if event.kind != COMMENT:
        return ""
    return event.detail if event.trial else event.detail.partition("|")[2]


def tables(sittings: Sequence[SittingRow], events: Iterable[EventRow]) -> dict[str, pd.DataFrame]:
    """`comments` and `rooms`, one row each; a table without a row is left out."""
    listener = {row.id: row.listener for row in sittings}
    comments, rooms = [], []
    for event in events:
        who = listener.get(str(event.sitting))
        if who is None:
            continue
        if event.kind == CONDITIONS:
            rooms.append({"listener": who, "room": event.detail})
        elif text := _text(event):
            comments.append({"listener": who, "trial": event.trial or AT_END, "comment": text})
    made = {"comments": pd.DataFrame(comments), "rooms": pd.DataFrame(rooms)}
    return {name: table for name, table in made.items() if len(table)}
