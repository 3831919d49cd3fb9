"""Late stages: conditions, strikes or questions added to a dealt study, with listeners of their own."""

from collections.abc import Iterator
from typing import Any

from pydantic import Field

from listening.records.forms.form import Form
from listening.records.forms.problem import Fault

FIRST = 1


class Stage(Form):
    """A stage that `listening amend` adds to a dealt study; its blocks, controls and questions name it."""

    stage: int = Field(ge=2, le=20, description="Its number; the deal itself is stage 1.")
    listeners: int = Field(ge=1, le=10000, description="How many listeners are planned for it.")
    spare: int = Field(0, ge=0, le=10000, description="Further slots dealt, for who replaces a drop-out.")


def faults(raw: dict[str, Any]) -> Iterator[Fault]:
    """Stages that are not counted up, rows of an unknown stage, questions that their stage does not ask."""
    rows = _rows(raw, "stages")
    numbers = [row.get("stage") for _, row in rows]
    for (i, _), number, wanted in zip(rows, numbers, range(2, len(rows) + 2), strict=True):
        if isinstance(number, int) and number != wanted:
            yield Fault(("stages", i, "stage"), str(number), f"{wanted}: stages are counted up from 2")
    known = {FIRST, *(number for number in numbers if isinstance(number, int))}
    for what in ("blocks", "controls", "questions"):
        for i, row in _rows(raw, what):
            if isinstance(row.get("stage"), int) and row["stage"] not in known:
                yield Fault((what, i, "stage"), str(row["stage"]), f"one of {sorted(known)}: see [[stages]]")
    yield from _never_asked(raw)
    yield from _mixed_families(raw)


def _never_asked(raw: dict[str, Any]) -> Iterator[Fault]:
    blocks = {_place(row) for _, row in _rows(raw, "blocks")}
    pairs = {place[:2] for place in blocks}
    for i, row in _rows(raw, "questions"):
        if _place(row)[:2] in pairs and _place(row) not in blocks:
            yield Fault(
                ("questions", i, "stage"),
                f"{_stage(row)}: no block of it asks `{row.get('attribute')}` of `{row.get('presentation')}`",
                "a block of that stage, or the question in the stage that asks it",
            )
    for i, row in _rows(raw, "superlatives"):
        if _place(row)[:2] in pairs and _place(row) not in blocks:
            yield Fault(("superlatives", i), "asked in a late stage only", "a block of stage 1")


def _mixed_families(raw: dict[str, Any]) -> Iterator[Fault]:
    stages: dict[Any, set[int]] = {}
    rows = [(i, row) for i, row in _rows(raw, "questions") if isinstance(row.get("family"), str)]
    for _, row in rows:
        stages.setdefault(row["family"], set()).add(_stage(row))
    for i, row in rows:
        if row["family"] and len(stages[row["family"]]) > 1 and _stage(row) != min(stages[row["family"]]):
            yield Fault(
                ("questions", i, "family"),
                f"`{row['family']}`, shared with questions of another stage",
                "a family of its own stage: what was planned before is not corrected anew",
            )


def _place(row: dict[str, Any]) -> tuple[str, str, int]:
    return str(row.get("attribute")), str(row.get("presentation")), _stage(row)


def _stage(row: dict[str, Any]) -> int:
    given = row.get("stage", FIRST)
    return given if isinstance(given, int) else FIRST


def _rows(raw: dict[str, Any], what: str) -> list[tuple[int, dict[str, Any]]]:
    rows = raw.get(what)
    return [(i, row) for i, row in enumerate(rows if isinstance(rows, list) else []) if isinstance(row, dict)]
