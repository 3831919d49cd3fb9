"""Answers joined with the key: one row a trial, with conditions, stimuli and level differences."""

import hashlib
import json
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from listening.errors import StudyError
from listening.records.dealt.answer import Answer
from listening.records.keys.key import Key
from listening.records.kinds import metric_register, tasks
from listening.records.sounds.manifest import Manifest

LEVEL_METRICS = metric_register.LEVEL_KEYS
CONTROL = "control"
STUDY = "study"
KEPT = ("sitting", "listener", "site", "trial", "attribute", "answer", "response_s", "plays", "simulated")
Columns = Mapping[str, Sequence[Any]]
Answers = Sequence[Answer] | Columns
_CHOSEN = {"first": 1.0, "second": 0.0, "tie": 0.5}


def frame(answers: Answers, key: Key, manifest: Manifest, *, may_be_empty: bool = False) -> pd.DataFrame:
    """One row for each counted answer of a paired comparison, by listener, sitting and trial.

    Columns: sitting, listener, site, trial, attribute, presentation, role (`study` or `control`); for first
    and second `condition_`, `stimulus_`, `gain_db_`; chosen (1 first, 0 second, 0.5 no difference), plays,
    response_s, simulated, and for each level metric
    that every clip has METRIC_difference (first - second, as played, control gain included).

    Raises
    ------
    StudyError
        An answer names a clip that the key does not know, or holds a word that is no answer.
    """
    given = as_columns(answers)
    table = _counted(given)
    if table.empty and not may_be_empty:
        if n_set := sum(tasks.named(task).sheet == "gain" for task in given["task"]):
            raise StudyError(
                f"{n_set} answers, all of them adjustments: these decide no question, they give gains that "
                "match stimuli by ear; look at them with: listening prepare OTHER --check-by-ear FOLDER, and "
                "use them in that study with: listening prepare OTHER --by-ear FOLDER"
            )
        raise StudyError("no counted answer yet: let somebody sit the test first (listening sit FOLDER)")
    _check(table, key)
    clips = _clips(key, manifest)
    for place in ("first", "second"):
        heard = clips.loc[table[f"clip_{place}"]].add_suffix(f"_{place}").reset_index(drop=True)
        table = pd.concat([table, heard], axis=1)
    return _with_differences(table.rename(columns={"presentation_first": "presentation"}))


def as_columns(answers: Answers) -> Columns:
    """Answers as columns, `clips` as codes separated by a space: how the store gives many of them."""
    if isinstance(answers, Mapping):
        return answers
    made = {name: [getattr(answer, name) for answer in answers] for name in Answer.model_fields}
    return made | {"clips": [" ".join(clips) for clips in made["clips"]]}


def digest(answers: Answers) -> str:
    """SHA-256 over all counted answers, whatever the order they were stored in."""
    kept = as_columns(answers)
    rows = zip(*(kept[name] for name in sorted(kept) if name != "practice"), strict=True)
    lines = (json.dumps(row) for row, practice in zip(rows, kept["practice"], strict=True) if not practice)
    total = hashlib.sha256()
    for line in sorted(lines):
        total.update(line.encode() + b"\n")
    return total.hexdigest()


def level_metrics(table: pd.DataFrame) -> tuple[str, ...]:
    """The level metrics for which the table has differences."""
    return tuple(m for m in LEVEL_METRICS if f"{m}_difference" in table)


def select(
    table: pd.DataFrame, *, attribute: str, presentation: str | None = None, role: str = STUDY
) -> pd.DataFrame:
    """The rows of one attribute, role and (unless None) presentation, renumbered."""
    keep = (table["attribute"] == attribute) & (table["role"] == role)
    if presentation is not None:
        keep &= table["presentation"] == presentation
    return table[keep].reset_index(drop=True)


def _counted(given: Columns) -> pd.DataFrame:
    """One row for each counted answer of a paired comparison, by listener, sitting and trial."""
    table = pd.DataFrame({name: given[name] for name in (*KEPT, "clips", "practice", "task")})
    is_counted = ~table["practice"].astype(bool) & table["task"].isin(tasks.names(family="choice"))
    table = table[is_counted].sort_values(["listener", "sitting", "trial"], ignore_index=True)
    pairs = [clips.split(" ") for clips in table.pop("clips")]
    return table.drop(columns=["practice", "task"]).assign(
        clip_first=[first for first, _ in pairs], clip_second=[second for _, second in pairs]
    )


def _check(table: pd.DataFrame, key: Key) -> None:
    known = {clip.clip for clip in key.clips}
    strange = sorted((set(table["clip_first"]) | set(table["clip_second"])) - known)
    if strange:
        raise StudyError(
            f"the answers name {len(strange)} clip(s) that the key does not hold (first: {strange[0]}); "
            "answers and key are not of one study: put the right answer store in the station folder"
        )
    words = sorted(set(table["answer"]) - set(_CHOSEN))
    if words:
        raise StudyError(
            f"the answers hold `{words[0]}` for a paired comparison, wanted one of {list(_CHOSEN)}"
        )


def _clips(key: Key, manifest: Manifest) -> pd.DataFrame:
    """Clip code → condition, stimulus, presentation, role, gain, and level metrics as played."""
    after = {s.stimulus: s.after for s in manifest.stimuli}
    rows: list[dict[str, object]] = []
    for clip in key.clips:
        metrics = after.get(clip.stimulus, {})
        levels = {m: _shifted(metrics.get(m), clip.gain_db) for m in LEVEL_METRICS}
        names = {"condition": clip.condition, "stimulus": clip.stimulus, "presentation": clip.presentation}
        rows.append({"clip": clip.clip, "gain_db": clip.gain_db, **names, **levels})
    return pd.DataFrame(rows).set_index("clip")


def _shifted(value: float | None, gain_db: float) -> float:
    return np.nan if value is None else value + gain_db


def _with_differences(table: pd.DataFrame) -> pd.DataFrame:
    differences = {
        f"{m}_difference": table[f"{m}_first"] - table[f"{m}_second"]
        for m in LEVEL_METRICS
        if not (table[f"{m}_first"].isna().any() or table[f"{m}_second"].isna().any())
    }
    drop = [f"{m}_{place}" for m in LEVEL_METRICS for place in ("first", "second")]
    # a control pair is one stimulus against itself; the stronger of the two is the plain study clip
    is_control = table["stimulus_first"] == table["stimulus_second"]
    return table.drop(columns=[*drop, "presentation_second"]).assign(
        role=np.where(is_control, CONTROL, STUDY),
        chosen=table["answer"].map(_CHOSEN).astype(float),
        gain_difference_db=table["gain_db_first"] - table["gain_db_second"],
        **differences,
    )
