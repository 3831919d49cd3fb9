"""The session of each answer, who missed one, and whom the planned rule leaves out of a question."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from listening.analysis.collect import keyed_discrimination
from listening.analysis.collect.keyed_answers import Answers, as_columns, select
from listening.records.dealt.plan import Plan
from listening.records.protocols.protocol import Protocol, Question
from listening.records.protocols.protocol_names import DISCRIMINATION, RATED

SESSION = "session"


@dataclass(frozen=True)
class Tables:
    """Counted answers of each family."""

    choices: pd.DataFrame
    discriminated: pd.DataFrame
    ratings: pd.DataFrame


def numbers(answers: Answers, plan: Plan) -> dict[tuple[str, str], int]:
    """The session of each (sitting, trial); empty where a listener comes once."""
    if plan.n_sessions < 2:
        return {}
    given = as_columns(answers)
    of = {(slot.slot, trial.trial): trial.session for slot in plan.slots for trial in slot.trials}
    rows = zip(given["sitting"], given["slot"], given["trial"], strict=True)
    return {(sitting, trial): of.get((slot, trial), 1) for sitting, slot, trial in rows}


def marked(table: pd.DataFrame, known: Mapping[tuple[str, str], int]) -> pd.DataFrame:
    """The table with the column `session`; the same table where a listener comes once."""
    if not known:
        return table
    rows = zip(table["sitting"], table["trial"], strict=True)
    return table.assign(**{SESSION: [known[row] for row in rows]})


def owed(answers: Answers, plan: Plan) -> dict[str, dict[int, int]]:
    """By listener, how many counted trials of each session have no answer."""
    given = as_columns(answers)
    slot_of = dict(zip(given["listener"], given["slot"], strict=True))
    practised = zip(given["listener"], given["trial"], given["practice"], strict=True)
    done = {(name, trial) for name, trial, practice in practised if not practice}
    trials = {slot.slot: [t for t in slot.trials if not t.practice] for slot in plan.slots}
    return {
        name: dict(Counter(t.session for t in trials[slot] if (name, t.trial) not in done))
        for name, slot in sorted(slot_of.items())
    }


def left_out(
    tables: Tables, protocol: Protocol, incomplete: set[str], stage_of: Mapping[str, int] | None = None
) -> dict[str, set[str]]:
    """By question, who missed a session and met one of its pairs too rarely; see `Sessions.met_at_least`.

    `stage_of` : the stage of each listener; whoever sat in another stage than the question's is none of its.
    """
    stages = stage_of or {}
    least = protocol.sessions.met_at_least
    if least is None or not incomplete:
        return {}
    return {
        asked.id: {
            name
            for name in incomplete
            if stages.get(name, asked.stage) == asked.stage and met.get(name, 0) < least
        }
        for asked in protocol.questions
        for met in (fewest(tables, protocol, asked),)
    }


def fewest(tables: Tables, protocol: Protocol, asked: Question) -> dict[str, int]:
    """By listener, how often the pair of a question was met that was met most rarely.

    For ratings: how often the condition was rated that was rated most rarely.
    """
    task = protocol.attribute(asked.attribute).task
    if task in DISCRIMINATION:
        return dict(keyed_discrimination.select(tables.discriminated, asked)["listener"].value_counts())
    if task in RATED:
        rows = select_rated(tables.ratings, asked)
        counts = [rows["listener"][rows["condition"] == name] for name in asked.contrast.conditions]
        return _least([dict(one.value_counts()) for one in counts])
    rows = select(tables.choices, attribute=asked.attribute, presentation=asked.presentation)
    return _least([_met(rows, {more, than}) for more, than in asked.contrast.pairs])


def select_rated(ratings: pd.DataFrame, asked: Question) -> pd.DataFrame:
    """The ratings of a question's attribute and presentation."""
    keep = (ratings["attribute"] == asked.attribute) & (ratings["presentation"] == asked.presentation)
    return ratings[keep].reset_index(drop=True)


def _met(rows: pd.DataFrame, pair: set[str]) -> dict[str, int]:
    both = rows["condition_first"].isin(pair) & rows["condition_second"].isin(pair)
    return dict(rows["listener"][both].value_counts())


def _least(counts: list[dict[str, int]]) -> dict[str, int]:
    names = {name for one in counts for name in one}
    return {name: min(int(one.get(name, 0)) for one in counts) for name in names}
