"""Answers that listeners took back and gave anew: both stand in the chain, the last one counts."""

import json
from collections.abc import Mapping, Sequence
from typing import Any

from sqlalchemy import Connection, select

from listening.errors import RecordError
from listening.records.dealt.answer import Answer
from listening.store import checked, tables

REVISED = "revised"  # the event that holds the answer given anew
FIELDS = ("answer", "response_s", "plays", "answered_at")
"""What an answer given anew says; the sounds and the question are the same."""
Revisions = Mapping[tuple[str, str], Mapping[str, Any]]


def detail(answer: Answer) -> str:
    """What the event of a changed answer says."""
    told = answer.model_dump()
    return json.dumps({name: told[name] for name in FIELDS}, ensure_ascii=False)


def read(connection: Connection, place: str, sitting: str | None = None) -> Revisions:
    """The last answer of each trial that was answered anew, by sitting and trial.

    Raises
    ------
    RecordError
        An event holds no answer.
    """
    columns = (tables.event.c.sitting, tables.event.c.trial, tables.event.c.detail)
    query = select(*columns).where(tables.event.c.kind == REVISED).order_by(tables.event.c.id)
    if sitting is not None:
        query = query.where(tables.event.c.sitting == sitting)
    return {(row.sitting, row.trial): _told(place, row.detail) for row in connection.execute(query)}


def into_rows(rows: Sequence[dict[str, Any]], revisions: Revisions) -> list[dict[str, Any]]:
    """Answers as rows, each with what was said last."""
    return [{**row, **revisions.get((row["sitting"], row["trial"]), {})} for row in rows]


def into_columns(columns: Mapping[str, list[Any]], revisions: Revisions) -> None:
    """Put what was said last into answers held as columns, in place."""
    if not revisions:
        return
    for i, key in enumerate(zip(columns["sitting"], columns["trial"], strict=True)):
        for name, value in revisions.get(key, {}).items():
            columns[name][i] = value


def _told(place: str, text: str) -> dict[str, Any]:
    try:
        told = json.loads(text)
        found = {name: told[name] for name in FIELDS}
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        raise RecordError(
            f"{place}: table event, kind {REVISED}: found {text[:60]!r}, which no sitting writes; find out "
            "how it came there, and put back a copy or remove that row"
        ) from error
    checked.row(place, f"event, kind {REVISED}", found)
    return found
