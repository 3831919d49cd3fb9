"""Answers and findings as flat tables, with a dictionary, so that another statistician can redo them."""

import ast
import inspect
import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import pandas as pd

from listening.analysis.again import column_meanings
from listening.analysis.collect import keyed_answers, listener_answers, remarks
from listening.analysis.collect.listener_answers import Own
from listening.analysis.decide import contrast
from listening.records.forms.form import Form
from listening.records.found.findings import Findings, Strength
from listening.records.found.findings_question import QuestionFinding
from listening.records.found.findings_study import ConditionMeasure, ListenerRow
from listening.records.protocols.protocol_parts import Ask

MEANINGS = {
    "sitting": "sitting in which the answer was given",
    "listener": "code of the listener; no name is kept",
    "trial": "number of the trial in the sitting",
    "session": "which of the listener’s sessions it was; no such column where there was one",
    "attribute": "what was asked",
    "presentation": "`as recorded` or `matched`",
    "role": "`study`, or `control`: one stimulus against itself at a known gain",
    "condition_first": "condition heard first",
    "condition_second": "condition heard second",
    "stimulus_first": "stimulus heard first: one strike of the condition",
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
    "stimulus_first": "random: enters with weight +1; one variance for the two compared, one for others",
    "stimulus_second": "random: enters with weight -1; same variances as stimulus_first",
    "cell_first": "random, listener x condition: enters with weight +1 (three conditions or more)",
    "cell_second": "random: enters with weight -1; same variance as cell_first",
    "chosen": "answer to explain",
    "heard first": "fixed: 1, advantage of the sound heard first",
    "contrast": "fixed: the planned contrast in log-odds, +1 first, -1 second",
    "contrast_half": "multiplies the listener's own departure: +1/2 more, -1/2 than, first minus second",
}
OWN_MEANINGS = {
    "question": "planned question that the row belongs to",
    "listener": "code of the listener; no name is kept",
    "n": "direct comparisons of the two conditions",
    "n_more": "of them, in favour of the one said to have more",
    "n_no_difference": "of them, answered `no difference`",
    "share": "own share as counted, `no difference` half a choice; their mean is the share that decides",
}
DISCRIMINATED_MEANINGS = {
    "task": "`triangle`, `duo-trio`, `2-AFC` or `same-different`",
    "one": "one of the two conditions, the first by name",
    "other": "the other one; the same as `one` in a pair of like sounds",
    "stimulus_one": "strike heard of `one`",
    "stimulus_other": "strike heard of `other`",
    "is_different": "1 if the sounds were of two conditions, 0 in a pair of like sounds",
    "right": "1 if the answer was right; 2-AFC: 1 if `one` was chosen",
    "first": "1 if the first of two was chosen; empty where there were not two to choose from",
}
OTHER_CONDITION = "fixed: this condition against the one compared with, +1 first, -1 second"


@dataclass(frozen=True)
class Exported:
    """Every table by file name, without ending."""

    tables: dict[str, pd.DataFrame]


def tables(
    answers: pd.DataFrame,
    found: Findings,
    discriminated: pd.DataFrame | None = None,
    *,
    own: Own | None = None,
    asked: Sequence[Ask] = (),
    beside: Mapping[str, pd.DataFrame] | None = None,
) -> Exported:
    """The tables of one study.

    Parameters
    ----------
    answers : as `collect.frame` gives them, of all listeners
    discriminated : as `discriminated.frame` gives them; a table of its own where there are any
    own : what listeners said of themselves and how their hearing check went, see `listener_answers`
    asked : the questionnaire, for the dictionary
    beside : comments and rooms, see `remarks`
    """
    excluded = {row.listener for row in found.panel.listeners if row.excluded}
    marked = answers.assign(excluded=answers["listener"].isin(excluded))
    listed = [name for name in MEANINGS if name in marked]
    made = {
        "answers": marked[listed],
        "questions": questions(found),
        "listeners": _listeners(found, own or {}),
        "measured": _rows(ConditionMeasure, found.conditions),
        "strengths": pd.DataFrame(_strengths(found)),
        "own_shares": pd.DataFrame(_own_shares(found), columns=list(OWN_MEANINGS)),
    }
    if found.listener_covariates:
        made["listener_covariates"] = pd.DataFrame(_by_covariate(found))
    if discriminated is not None and len(discriminated):
        made["discriminated"] = discriminated.assign(excluded=discriminated["listener"].isin(excluded))
    kept = answers[~answers["listener"].isin(excluded)].reset_index(drop=True)
    out = {one.question: one.left_out for one in found.sessions.questions} if found.sessions else {}
    for q in found.questions:
        if q.estimate is not None:
            deciding = kept[~kept["listener"].isin(out.get(q.id, ()))].reset_index(drop=True)
            made[f"model_{q.id}"] = _model(deciding, q)
    made |= beside or {}
    made["dictionary"] = _dictionary(made, listener_answers.meanings(asked))
    return Exported(made)


def questions(found: Findings) -> pd.DataFrame:
    """A row a planned question."""
    return pd.DataFrame([_flat(q) for q in found.questions])


def _rows(form: type[Form], found: Sequence[Form]) -> pd.DataFrame:
    """One form a row; without any, the columns all the same."""
    return pd.DataFrame([one.model_dump() for one in found], columns=list(form.model_fields))


def _flat(q: QuestionFinding) -> dict[str, object]:
    """One question on one row; intervals become three columns, lists are left to findings.json."""
    return _flattened(q.model_dump())


def _flattened(values: dict[str, object]) -> dict[str, object]:
    row: dict[str, object] = {}
    for name, value in values.items():
        if isinstance(value, dict):
            row |= {f"{name}_{part}": one for part, one in _flattened(value).items()}
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


def _by_covariate(found: Findings) -> list[dict[str, object]]:
    """One row a question, planned covariate of listeners, and answer."""
    return [
        {"question": one.question, "wording": one.wording, "answer": group.answer}
        | {"n_listeners": group.n_listeners}
        | {f"share_{k}": getattr(group.share, k, None) for k in ("value", "lower", "upper", "coverage")}
        | {"p": one.p}
        for one in found.listener_covariates
        for group in one.groups
    ]


def _own_shares(found: Findings) -> list[dict[str, object]]:
    return [
        {"question": q.id, "listener": one.listener, "n": one.n, "n_more": one.n_more}
        | {"n_no_difference": one.n_no_difference, "share": one.share}
        for q in found.questions
        for one in q.listeners
        if one.n
    ]


def _model(answers: pd.DataFrame, q: QuestionFinding) -> pd.DataFrame:
    """Answer, fixed columns and random groupings of the mixed model that stands beside one question."""
    rows = keyed_answers.select(answers, attribute=q.attribute, presentation=q.presentation)
    made = contrast.design(rows, more=q.more, than=q.than)
    names = ["listener", "stimulus_first", "stimulus_second"]
    cells = {
        f"cell_{place}": rows["listener"] + " " + rows[f"condition_{place}"] for place in ("first", "second")
    }
    fixed = pd.DataFrame(made.fixed, columns=list(made.names))
    return pd.concat([rows[names], pd.DataFrame(cells), fixed], axis=1).assign(
        chosen=made.chosen, contrast_half=made.contrast
    )


def _listeners(found: Findings, own: Own) -> pd.DataFrame:
    """What the screening saw, then what listeners said of themselves; nothing of it decides."""
    seen = _rows(ListenerRow, found.panel.listeners)
    said = listener_answers.frame(own, [row.listener for row in found.panel.listeners])
    return pd.concat([seen, said.drop(columns="listener", errors="ignore")], axis=1)


def _dictionary(made: dict[str, pd.DataFrame], own: Mapping[str, str]) -> pd.DataFrame:
    forms: dict[str, type[Form]] = {
        "questions": QuestionFinding,
        "listeners": ListenerRow,
        "measured": ConditionMeasure,
        "strengths": Strength,
    }
    rows = []
    for table, frame in made.items():
        is_model = table.startswith("model_")
        said = MEANINGS | column_meanings.OF_TABLE.get(table, {}) | _meanings(forms.get(table))
        known = MODEL_MEANINGS if is_model else said
        own_of = {
            "discriminated": DISCRIMINATED_MEANINGS,
            "own_shares": OWN_MEANINGS,
            "listeners": dict(own),
            **remarks.MEANINGS,
        }
        known = known | own_of.get(table, {})
        for column in map(str, frame.columns):
            meaning = known.get(column, _of_model(column) if is_model else _in_words(column, known))
            rows.append(
                {"table": table, "column": column, "type": str(frame[column].dtype), "meaning": meaning}
            )
    return pd.DataFrame(rows)


def _of_model(column: str) -> str:
    """A fixed column of the mixed model that has no name of its own."""
    for what in ("session", "site"):
        if column.startswith(f"contrast {'in' if what == 'session' else 'at'} {what} "):
            return f"fixed: the contrast of this {what} less the mean of all; the last is minus the rest"
    return OTHER_CONDITION


def _in_words(column: str, known: dict[str, str]) -> str:
    """What a column is by its name; a part of an interval by what the whole is."""
    whole, _, part = column.rpartition("_")
    said = {
        "value": "estimate",
        "lower": "lower limit",
        "upper": "upper limit",
        "coverage": "of the two limits together, 0.95 for 95 %",
    }
    if part in said:
        return f"{known.get(whole, whole.replace('_', ' '))}: {said[part]}".lstrip(": ")
    return said.get(column, column.replace("_", " "))


def _meanings(form: type[Form] | None) -> dict[str, str]:
    """The lines that stand below the fields of a form."""
    if form is None:
        return {}
    body = ast.parse(textwrap.dedent(inspect.getsource(form))).body[0]
    found: dict[str, str] = {}
    statements = body.body if isinstance(body, ast.ClassDef) else []
    for field, below in pairwise(statements):
        if (
            isinstance(field, ast.AnnAssign)
            and isinstance(below, ast.Expr)
            and isinstance(field.target, ast.Name)
        ):
            found[field.target.id] = " ".join(str(ast.literal_eval(below.value)).split()).rstrip(".")
    return found
