"""Answers that were right or wrong, joined with the key: triangle, duo-trio, 2-AFC and same-different."""

from typing import Any

import pandas as pd

from listening.analysis.collect.keyed_answers import Answers, as_columns
from listening.errors import StudyError
from listening.records.dealt.plan import Plan
from listening.records.keys.key import KeyedClip
from listening.records.kinds import tasks
from listening.records.protocols.protocol import Question
from listening.records.protocols.protocol_names import DISCRIMINATION

PLACES = ("first", "second", "third")
COLUMNS = (
    *("sitting", "listener", "site", "trial", "attribute", "presentation", "task", "response_s", "simulated"),
    *("one", "other", "stimulus_one", "stimulus_other", "is_different", "right", "first"),
)


def frame(answers: Answers, clips: tuple[KeyedClip, ...], plan: Plan) -> pd.DataFrame:
    """One row for each counted answer of these tasks, by listener, sitting and trial; no control pairs.

    Columns beside those of the answer: presentation; `one` and `other`, the conditions in the order of their
    names (alike in a pair of like sounds) with `stimulus_`; is_different; right (2-AFC: 1 where `one` was
    chosen); first (1 where the first of two was chosen, else NaN).

    Raises
    ------
    StudyError
        An answer names a clip that the key does not hold, or a trial that the plan does not.
    """
    given = as_columns(answers)
    known = {clip.clip: clip for clip in clips}
    references = {
        (slot.slot, trial.trial): trial.reference
        for slot in plan.slots
        for trial in slot.trials
        if trial.reference
    }
    names = [name for name in given if name in COLUMNS or name in ("clips", "practice", "answer", "slot")]
    rows = []
    for cells in zip(*(given[name] for name in names), strict=True):
        row = dict(zip(names, cells, strict=True))
        if row["practice"] or row["task"] not in DISCRIMINATION:
            continue
        made = _row(row, known, references)
        if made is not None:
            rows.append(made)
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    return table.sort_values(["listener", "sitting", "trial"], ignore_index=True)


def select(table: pd.DataFrame, asked: Question) -> pd.DataFrame:
    """The rows on one question, with stimulus_more and stimulus_than; `right` as the question has it."""
    more, than = asked.contrast.more, asked.contrast.than
    keep = (table["attribute"] == asked.attribute) & (table["presentation"] == asked.presentation)
    keep &= table["one"].isin([more, than]) & table["other"].isin([more, than])
    rows = table[keep].reset_index(drop=True)
    ends: dict[str, Any] = {
        f"stimulus_{end}": rows["stimulus_one"].where(
            rows["one"] == name, rows["stimulus_other"].where(rows["other"] == name, "")
        )
        for end, name in (("more", more), ("than", than))
    }
    turned = rows["task"].isin(
        t.name for t in tasks.ALL if t.family == "discrimination" and t.picks == "more"
    ) & (rows["other"] == more)
    return rows.assign(**ends, right=rows["right"].where(~turned, 1 - rows["right"]))


def _row(
    row: dict[str, Any], known: dict[str, KeyedClip], references: dict[tuple[int, str], str]
) -> dict[str, Any] | None:
    codes = row["clips"].split(" ")
    is_matching = tasks.named(row["task"]).picks == "like the reference"
    reference = references.get((row["slot"], row["trial"])) if is_matching else None
    if is_matching and reference is None:
        raise StudyError(
            f"trial {row['trial']} of {row['listener']} has no reference in the plan; answers and plan "
            "are not of one study: put the right answer store in the station folder"
        )
    try:
        heard = [known[code] for code in codes]
        like = known[reference] if reference is not None else None
    except KeyError as error:
        raise StudyError(
            f"the answers name the clip {error.args[0]}, which the key does not hold; answers and key are "
            "not of one study: put the right answer store in the station folder"
        ) from error
    if len({clip.stimulus for clip in heard}) == 1 and any(clip.gain_db for clip in heard):
        return None  # a control pair
    ends = sorted(heard, key=lambda clip: clip.condition)
    one, other = ends[0], ends[-1]
    kept = {name: row[name] for name in COLUMNS if name in row}
    return kept | {
        "site": row.get("site", ""),
        "presentation": one.presentation,
        "one": one.condition,
        "other": other.condition,
        "stimulus_one": one.stimulus,
        "stimulus_other": other.stimulus,
        "is_different": int(one.condition != other.condition),
        "right": _right(row, heard, like, one.condition),
        "first": float(row["answer"] == "first") if _has_two_places(row["task"]) else float("nan"),
    }


def _has_two_places(task: str) -> bool:
    """Whether first answers tell of a habit."""
    one = tasks.named(task)
    return one.sheet == "place" and one.sounds == 2


def _right(row: dict[str, Any], heard: list[KeyedClip], like: KeyedClip | None, one: str) -> float:
    conditions = [clip.condition for clip in heard]
    task = tasks.named(row["task"])
    if task.sheet == "same or different":
        return float((row["answer"] == "different") == (len(set(conditions)) > 1))
    if row["answer"] not in PLACES[: len(heard)]:
        raise StudyError(
            f"trial {row['trial']} of {row['listener']} holds the answer `{row['answer']}`, wanted one of "
            f"{', '.join(PLACES[: len(heard)])}"
        )
    picked = heard[PLACES.index(row["answer"])]
    if task.picks == "odd":
        return float(conditions.count(picked.condition) == 1)
    if like is not None:
        return float(picked.stimulus == like.stimulus)
    return float(picked.condition == one)
