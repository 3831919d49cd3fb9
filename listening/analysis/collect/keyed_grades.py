"""Grades given beside a hidden reference, joined with the key: one row a sound."""

from typing import Any

import pandas as pd

from listening.analysis.collect.keyed_answers import Answers, as_columns
from listening.errors import StudyError
from listening.records.dealt.plan import Plan
from listening.records.keys.key import KeyedClip
from listening.records.kinds import tasks

KEPT = ("sitting", "listener", "site", "trial", "attribute", "task", "response_s", "simulated")
COLUMNS = (*KEPT, "presentation", "condition", "stimulus", "is_anchor", "is_hidden", "grade", "difference")


def frame(answers: Answers, clips: tuple[KeyedClip, ...], plan: Plan) -> pd.DataFrame:
    """One row for each sound of each counted trial with a hidden reference.

    Columns beside those of the answer: presentation, condition and stimulus graded; is_anchor (one of the
    attribute's two examples); is_hidden (the hidden reference); grade; difference, the grade less that of
    the hidden reference of the same trial.

    Raises
    ------
    StudyError
        An answer names a clip that the key does not hold, has no grade for each sound, or its trial no
        hidden reference.
    """
    given = as_columns(answers)
    known = {clip.clip: clip for clip in clips}
    references = {(slot.slot, trial.trial): trial.reference for slot in plan.slots for trial in slot.trials}
    names = [name for name in given if name in (*KEPT, "clips", "practice", "answer", "slot")]
    rows: list[dict[str, Any]] = []
    for cells in zip(*(given[name] for name in names), strict=True):
        row = dict(zip(names, cells, strict=True))
        if not row["practice"] and tasks.named(row["task"]).has_hidden_reference:
            rows += _graded(row, known, references.get((row["slot"], row["trial"])))
    table = pd.DataFrame(rows, columns=list(COLUMNS)).astype({"is_anchor": bool, "is_hidden": bool})
    return table.sort_values(["listener", "sitting", "trial", "condition", "is_hidden"], ignore_index=True)


def as_seen(table: pd.DataFrame) -> pd.DataFrame:
    """One row a trial: what screening takes of answers that are no choice."""
    trials = table[table["is_hidden"]].assign(first=float("nan"))
    return trials[["listener", "response_s", "simulated", "first"]]


def _graded(row: dict[str, Any], known: dict[str, KeyedClip], reference: str | None) -> list[dict[str, Any]]:
    where = f"trial {row['trial']} of {row['listener']}"
    codes, given = row["clips"].split(" "), row["answer"].split(" ")
    missing = [code for code in (*codes, reference) if code not in known]
    if missing:
        raise StudyError(
            f"{where} names the clip {missing[0]}, which the key does not hold; answers, plan and key are "
            "not of one study: put the right answer store in the station folder"
        )
    try:
        grades = [float(text) for text in given]
    except ValueError:
        grades = []
    if len(grades) != len(codes):
        raise StudyError(f"{where} holds the answer `{row['answer']}`, wanted {len(codes)} numbers")
    heard = [known[code] for code in codes]
    hidden = [i for i, clip in enumerate(heard) if clip.stimulus == known[str(reference)].stimulus]
    if len(hidden) != 1:
        raise StudyError(f"{where} holds {len(hidden)} hidden references, wanted 1: deal the study again")
    own = {name: row.get(name, "") for name in KEPT} | {"presentation": known[str(reference)].presentation}
    return [
        own
        | {
            "condition": clip.condition or clip.stimulus,
            "stimulus": clip.stimulus,
            "is_anchor": clip.role == "example",
            "is_hidden": i == hidden[0],
            "grade": grade,
            "difference": grade - grades[hidden[0]],
        }
        for i, (clip, grade) in enumerate(zip(heard, grades, strict=True))
    ]
