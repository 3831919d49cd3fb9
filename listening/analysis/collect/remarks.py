"""What stands beside the answers in words: listeners' comments, and the room as it was noted."""

from collections.abc import Iterable, Sequence

import pandas as pd

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
        elif event.kind == COMMENT:
            text = event.detail if event.trial else event.detail.partition("|")[2]
            if text:
                comments.append({"listener": who, "trial": event.trial or AT_END, "comment": text})
    made = {"comments": pd.DataFrame(comments), "rooms": pd.DataFrame(rooms)}
    return {name: table for name, table in made.items() if len(table)}
