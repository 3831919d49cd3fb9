"""Ratings joined with the key: one row a rating of a sound, or of the second of two against the first."""

from typing import Any

import pandas as pd

from listening.analysis.collect.keyed_answers import LEVEL_METRICS, Answers, as_columns
from listening.errors import StudyError
from listening.records.keys.key import Key, KeyedClip
from listening.records.kinds import tasks
from listening.records.protocols.protocol_names import RATED
from listening.records.sounds.manifest import Manifest

ONE_MARK = tuple(name for name in RATED if not tasks.named(name).has_hidden_reference)
COLUMNS = (
    *("sitting", "listener", "site", "trial", "attribute", "presentation", "task", "response_s", "simulated"),
    *("score", "condition", "stimulus", "against", "stimulus_against", "first"),
    *LEVEL_METRICS,
)


def frame(answers: Answers, key: Key, manifest: Manifest) -> pd.DataFrame:
    """One row for each counted rating of one sound, or of two; no control pairs, no hidden references.

    Columns beside those of the answer: presentation; score, in points of the scale; condition and stimulus
    rated; `against` and stimulus_against, those of the first sound where the second was scored against it,
    else empty; first, always NaN; each level metric as played (second - first where two were heard).

    Raises
    ------
    StudyError
        An answer names a clip that the key does not hold, or is no number.
    """
    given = as_columns(answers)
    clips = {clip.clip: clip for clip in key.clips}
    after = {s.stimulus: s.after for s in manifest.stimuli}
    names = [name for name in given if name in COLUMNS or name in ("clips", "practice", "answer")]
    rows = []
    for cells in zip(*(given[name] for name in names), strict=True):
        row = dict(zip(names, cells, strict=True))
        if row["practice"] or row["task"] not in ONE_MARK:
            continue
        heard = [_clip(code, clips) for code in row["clips"].split(" ")]
        if len(heard) == 1 or heard[0].condition != heard[1].condition:
            rows.append({name: row.get(name, "") for name in names} | _rated(row, heard, after))
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    return table.sort_values(["listener", "sitting", "trial"], ignore_index=True)


def of_grades(grades: pd.DataFrame, manifest: Manifest) -> pd.DataFrame:
    """Grades given beside a hidden reference as ratings, a row a sound; examples as anchors are left out.

    Columns as of `frame`, and besides: is_hidden (the hidden reference, under the condition that it is) and
    difference, the grade less that of the hidden reference of the same trial.

    Parameters
    ----------
    grades : as `keyed_grades.frame` gives them
    """
    after = {s.stimulus: s.after for s in manifest.stimuli}
    rows = grades[~grades["is_anchor"]].reset_index(drop=True)
    levels = {
        m: [float("nan") if (v := after.get(name, {}).get(m)) is None else v for name in rows["stimulus"]]
        for m in LEVEL_METRICS
    }
    return rows.assign(
        score=rows["grade"], against="", stimulus_against="", first=float("nan"), **levels
    ).drop(columns=["grade", "is_anchor"])


def _clip(code: str, clips: dict[str, KeyedClip]) -> KeyedClip:
    if code not in clips:
        raise StudyError(
            f"the answers name the clip {code}, which the key does not hold; answers and key are not of one "
            "study: put the right answer store in the station folder"
        )
    return clips[code]


def _rated(
    row: dict[str, Any], heard: list[KeyedClip], after: dict[str, dict[str, float | None]]
) -> dict[str, Any]:
    last, first = heard[-1], heard[0] if len(heard) > 1 else None
    try:
        score = float(row["answer"])
    except ValueError as error:
        raise StudyError(
            f"trial {row['trial']} of {row['listener']} holds the answer `{row['answer']}`, wanted a number"
        ) from error
    levels = [{m: _level(after, clip, m) for m in LEVEL_METRICS} for clip in heard]
    return {
        "score": score,
        "presentation": last.presentation,
        "condition": last.condition,
        "stimulus": last.stimulus,
        "against": first.condition if first else "",
        "stimulus_against": first.stimulus if first else "",
        "first": float("nan"),
        **{m: levels[-1][m] - (levels[0][m] if first else 0.0) for m in LEVEL_METRICS},
    }


def _level(after: dict[str, dict[str, float | None]], clip: KeyedClip, metric: str) -> float:
    value = after.get(clip.stimulus, {}).get(metric)
    return float("nan") if value is None else value + clip.gain_db
