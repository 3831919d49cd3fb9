"""Answers joined with the key: one row a trial, with conditions, stimuli and level differences."""

import hashlib
from collections.abc import Sequence

import numpy as np
import pandas as pd

from listening.errors import StudyError
from listening.records.answer import Answer
from listening.records.key import Key
from listening.records.manifest import Manifest

LEVEL_METRICS = ("laf_max_db", "lae_db", "loudness_level_phon")
CONTROL = "control"
STUDY = "study"
_CHOSEN = {"first": 1.0, "second": 0.0, "tie": 0.5}


def frame(answers: Sequence[Answer], key: Key, manifest: Manifest) -> pd.DataFrame:
    """One row for each counted answer of a paired comparison, by listener, sitting and trial.

    Columns: sitting, listener, site, trial, attribute, presentation, role (`study` or `control`), for first
    and second: condition_, stimulus_, gain_db_ ; chosen (1 first, 0 second, 0.5 no difference), response_s,
    plays, simulated, and for each level metric that every clip has: METRIC_difference (first - second, as
    played, control gain included).

    Raises
    ------
    StudyError
        An answer names a clip that the key does not know, or holds a word that is no answer.
    """
    counted = sorted(
        (a for a in answers if not a.practice and a.task == "paired comparison"),
        key=lambda a: (a.listener, a.sitting, a.trial),
    )
    if not counted:
        raise StudyError("no counted answer yet: let somebody sit the test first (listening sit FOLDER)")
    table = pd.DataFrame([_plain(answer) for answer in counted])
    _check(table, key)
    clips = _clips(key, manifest)
    for place in ("first", "second"):
        columns = clips.loc[table[f"clip_{place}"]].add_suffix(f"_{place}").reset_index(drop=True)
        table = pd.concat([table, columns], axis=1)
    return _with_differences(table.rename(columns={"presentation_first": "presentation"}))


def digest(answers: Sequence[Answer]) -> str:
    """SHA-256 over all counted answers, whatever the order they were stored in."""
    lines = sorted(a.model_dump_json() for a in answers if not a.practice)
    return hashlib.sha256("\n".join(lines).encode()).hexdigest()


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


def _plain(answer: Answer) -> dict[str, object]:
    first, second = answer.clips
    return {
        "sitting": answer.sitting,
        "listener": answer.listener,
        "site": answer.site,
        "trial": answer.trial,
        "attribute": answer.attribute,
        "clip_first": first,
        "clip_second": second,
        "answer": answer.answer,
        "response_s": answer.response_s,
        "plays": answer.plays,
        "simulated": answer.simulated,
    }


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
