"""Strengths of every attribute and presentation that was asked: fitted once, written as findings."""

from dataclasses import dataclass

import pandas as pd

from listening.analysis.collect import joined_pairs, keyed_answers
from listening.analysis.decide import contrast
from listening.analysis.decide.write_up import interval
from listening.analysis.explain import strengths
from listening.analysis.explain.strengths import Strengths
from listening.records.found.findings import Strength, StrengthSet
from listening.records.kinds import tasks
from listening.records.protocols.protocol import Protocol
from stats.errors import NotConnected, StatsError

APART = "nothing compares all conditions, so that they have no common scale: {}"
SEPARATED = "a condition won or lost every time; a penalty keeps its strength finite"
NEARLY = (
    "a condition won or lost nearly every time; its interval here is too wide; no question is decided by it"
)


@dataclass(frozen=True)
class Fitted:
    """One attribute and presentation."""

    attribute: str
    presentation: str
    n_answers: int
    n_listeners: int
    found: Strengths | None
    problem: str
    """Why there are no strengths."""

    @property
    def key(self) -> tuple[str, str]:
        """Attribute and presentation."""
        return self.attribute, self.presentation


def asked(protocol: Protocol) -> list[tuple[str, str]]:
    """Attribute and presentation of every block of paired comparisons; the other tasks have no strengths."""
    compared = {a.name for a in protocol.attributes if tasks.named(a.task).family == "choice"}
    blocks = ((b.attribute, str(b.presentation)) for b in protocol.blocks if b.attribute in compared)
    return list(dict.fromkeys(blocks))


def fit(table: pd.DataFrame, protocol: Protocol) -> tuple[Fitted, ...]:
    """Strengths of every set that has answers, or why it has none."""
    return tuple(
        _fitted(rows, attribute, presentation)
        for attribute, presentation in asked(protocol)
        if len(rows := keyed_answers.select(table, attribute=attribute, presentation=presentation))
    )


def findings(sets: tuple[Fitted, ...], protocol: Protocol) -> tuple[StrengthSet, ...]:
    """The sets as the findings hold them."""
    return tuple(_written(one, protocol) for one in sets)


def _fitted(rows: pd.DataFrame, attribute: str, presentation: str) -> Fitted:
    found, problem = None, ""
    joined = joined_pairs.parts(rows)
    try:
        if len(joined) > 1:
            raise NotConnected(APART.format("; ".join(" with ".join(sorted(one)) for one in joined)))
        found = strengths.fit(rows)
    except StatsError as error:
        problem = str(error)
    return Fitted(attribute, presentation, len(rows), int(rows["listener"].nunique()), found, problem)


def _written(one: Fitted, protocol: Protocol) -> StrengthSet:
    found = one.found
    blank = StrengthSet(
        attribute=one.attribute,
        presentation=one.presentation,
        n_answers=one.n_answers,
        n_listeners=one.n_listeners,
        order=None,
        interval_by="none",
        note=one.problem,
        strengths=(),
    )
    if found is None:
        return blank
    return blank.model_copy(
        update={
            "order": found.order,
            "interval_by": "t, listeners and stimuli as samples",
            "df": found.df,
            "spread_listeners": found.spread_listeners,
            "spread_stimuli": found.spread_stimuli,
            "note": _note(found),
            "strengths": tuple(_strength(found, i, protocol) for i in range(len(found.conditions))),
        }
    )


def _strength(found: Strengths, i: int, protocol: Protocol) -> Strength:
    name = found.conditions[i]
    return Strength(
        condition=name,
        label=protocol.label(name),
        strength=interval(
            float(found.strength[i]), float(found.lower[i]), float(found.upper[i]), strengths.LEVEL
        ),
        n=found.n[i],
        n_chosen=int(found.n_chosen[i]),
    )


def _note(found: Strengths) -> str:
    if found.penalised:
        return SEPARATED
    widest = float(found.strength.max() - found.strength.min())
    return NEARLY if len(found.conditions) == 2 and widest > contrast.NEAR_SEPARATION_LOGIT else ""
