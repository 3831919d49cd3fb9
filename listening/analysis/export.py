"""Answers and findings as flat tables, with a dictionary, so that another statistician can redo them."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from listening.analysis import collect, contrast
from listening.records.findings import Findings, QuestionFinding

MEANINGS = {
    "sitting": "sitting in which the answer was given",
    "listener": "code of the listener; no name is kept",
    "trial": "number of the trial in the sitting",
    "attribute": "what was asked",
    "presentation": "`as recorded` or `matched`",
    "role": "`study`, or `control`: one stimulus against itself at a known gain",
    "condition_first": "condition heard first",
    "condition_second": "condition heard second",
    "stimulus_first": "stimulus heard first: one stroke of the condition",
    "stimulus_second": "stimulus heard second",
    "gain_difference_db": "dB; known gain of the first above the second; 0 outside control pairs",
    "chosen": "1 the first was chosen, 0 the second, 0.5 no difference",
    "response_s": "s; from the first sound to the answer",
    "plays": "how often the trial was played",
    "simulated": "whether the listener is simulated",
    "excluded": "whether the protocol's rule leaves the listener out",
    "laf_max_db_difference": "dB; LAFmax of the first minus the second, as played",
    "lae_db_difference": "dB; LAE of the first minus the second, as played",
    "loudness_level_phon_difference": "phon; loudness level of the first minus the second, as played",
}
MODEL_MEANINGS = {
    "question": "planned question that the row belongs to",
    "listener": "random: the contrast's own size for each listener, on column contrast_half",
    "stimulus_first": "random: enters with weight +1",
    "stimulus_second": "random: enters with weight -1; same variance as stimulus_first",
    "cell_first": "random, listener x condition: enters with weight +1 (three conditions or more)",
    "cell_second": "random: enters with weight -1; same variance as cell_first",
    "chosen": "answer to explain",
    "heard first": "fixed: 1, advantage of the sound heard first",
    "contrast": "fixed: the planned contrast in log-odds, +1 first, -1 second",
    "contrast_half": "multiplies the listener's own departure: +1/2 more, -1/2 than, first minus second",
    "offset": "known part of the log-odds: level slope x level difference, the first way of taking level",
}


@dataclass(frozen=True)
class Exported:
    """Every table by file name, without ending."""

    tables: dict[str, pd.DataFrame]


def tables(answers: pd.DataFrame, found: Findings) -> Exported:
    """The tables of one study.

    Parameters
    ----------
    answers : as `collect.frame` gives them, of all listeners
    """
    excluded = {row.listener for row in found.panel.listeners if row.excluded}
    marked = answers.assign(excluded=answers["listener"].isin(excluded))
    listed = [name for name in MEANINGS if name in marked]
    made = {
        "answers": marked[listed],
        "questions": pd.DataFrame([_flat(q) for q in found.questions]),
        "listeners": pd.DataFrame([row.model_dump() for row in found.panel.listeners]),
        "measured": pd.DataFrame([one.model_dump() for one in found.conditions]),
        "strengths": pd.DataFrame(_strengths(found)),
    }
    kept = answers[~answers["listener"].isin(excluded)].reset_index(drop=True)
    made |= {f"model_{q.id}": _model(kept, q) for q in found.questions if q.level_checks}
    made["dictionary"] = _dictionary(made)
    return Exported(made)


def _flat(q: QuestionFinding) -> dict[str, object]:
    """One question on one row; intervals become three columns, lists are left to findings.json."""
    row: dict[str, object] = {}
    for name, value in q.model_dump().items():
        if isinstance(value, dict):
            row |= {f"{name}_{part}": one for part, one in value.items()}
        elif not isinstance(value, list | tuple):
            row[name] = value
    return row


def _strengths(found: Findings) -> list[dict[str, object]]:
    return [
        {"attribute": one.attribute, "presentation": one.presentation, "condition": s.condition}
        | {"n": s.n, "n_chosen": s.n_chosen}
        | s.strength.model_dump()
        for one in found.strengths
        for s in one.strengths
    ]


def _model(answers: pd.DataFrame, q: QuestionFinding) -> pd.DataFrame:
    """Answer, fixed columns, random groupings and offset of the deciding model of one question."""
    rows = collect.select(answers, attribute=q.attribute, presentation=q.presentation)
    made = contrast.design(rows, more=q.more, than=q.than)
    first_way = q.level_checks[0]
    offset = np.zeros(len(rows))
    if first_way.slope_at != "none":
        offset = first_way.slope_logit_per_db * rows[f"{first_way.metric}_difference"].to_numpy(float)
    names = ["listener", "stimulus_first", "stimulus_second"]
    cells = {
        f"cell_{place}": rows["listener"] + " " + rows[f"condition_{place}"] for place in ("first", "second")
    }
    fixed = pd.DataFrame(made.fixed, columns=list(made.names))
    return pd.concat([rows[names], pd.DataFrame(cells), fixed], axis=1).assign(
        chosen=made.chosen, contrast_half=made.contrast, offset=offset
    )


def _dictionary(made: dict[str, pd.DataFrame]) -> pd.DataFrame:
    rows = []
    for table, frame in made.items():
        meanings = MODEL_MEANINGS if table.startswith("model_") else MEANINGS
        for column in map(str, frame.columns):
            default = "fixed: this condition against the one compared with, +1 first, -1 second"
            default = default if table.startswith("model_") else "as in findings.json, see its form"
            rows.append(
                {
                    "table": table,
                    "column": column,
                    "type": str(frame[column].dtype),
                    "meaning": meanings.get(column, default),
                }
            )
    return pd.DataFrame(rows)
