"""The most of a set: named beforehand it must win every comparison; picked from the data it pays for that."""

from itertools import combinations

import numpy as np
import pandas as pd

from listening.analysis.collect import keyed_answers
from listening.analysis.decide import decide
from listening.analysis.explain import strengths
from listening.records.found.findings import Against, SuperlativeFinding, Winner
from listening.records.protocols.protocol import Contrast, Protocol, Question, Superlative
from stats.deciding import direct_share, multiplicity, verdict
from stats.errors import StatsError

LEVEL = 0.95
TIE = 1e-6  # logit; conditions as close as that are even, and the last bits pick none of them


def planned(table: pd.DataFrame, asked: Superlative, protocol: Protocol) -> SuperlativeFinding:
    """The verdict on a condition named beforehand.

    Every comparison with another condition of the block must be supported at alpha; then the whole holds at
    alpha without a correction. One comparison contradicted contradicts it, each judged at its even part of
    alpha. The superlative is true or not, so one of the two words alone can be wrong.

    Source: Berger 1982, Technometrics 24(4), intersection-union tests.
    """
    rows = keyed_answers.select(table, attribute=asked.attribute, presentation=asked.presentation)
    heard = sorted({*rows["condition_first"], *rows["condition_second"]} - {asked.condition})
    against = tuple(_against(table, asked, than, protocol, n_against=len(heard)) for than in heard)
    word, reason = _word(against, int(rows["listener"].nunique()))
    return SuperlativeFinding(
        id=asked.id,
        attribute=asked.attribute,
        comparative=protocol.attribute(asked.attribute).comparative,
        presentation=asked.presentation,
        condition=asked.condition,
        label=protocol.label(asked.condition),
        alpha=asked.alpha,
        smallest_effect=asked.smallest_effect,
        word=word,
        reason=reason,
        n_listeners=int(rows["listener"].nunique()),
        against=against,
    )


def winner(table: pd.DataFrame, protocol: Protocol, attribute: str, presentation: str) -> Winner | None:
    """The condition on top of a set of three or more, with bounds that allow for having picked it."""
    rows = keyed_answers.select(table, attribute=attribute, presentation=presentation)
    try:
        found = strengths.fit(rows)
        k = len(found.conditions)
        if k < 3 or found.penalised:
            return None
        top = _top(found.strength)
        pairs = np.array(list(combinations(range(k), 2)))
        weights = np.zeros((len(pairs), k))
        weights[np.arange(len(pairs)), pairs[:, 0]] = 1
        weights[np.arange(len(pairs)), pairs[:, 1]] = -1
        weights[pairs[:, 1] == top] *= -1  # every pair with the winner counts as its lead
        joint = multiplicity.max_t(
            weights @ found.strength, weights @ found.covariance @ weights.T, df=found.df, level=LEVEL
        )
    except StatsError:
        return None
    least = float(joint.lower[(pairs == top).any(axis=1)].min())
    return Winner(
        attribute=attribute,
        presentation=presentation,
        condition=found.conditions[top],
        label=protocol.label(found.conditions[top]),
        coverage=LEVEL,
        n_pairs=len(pairs),
        least_lower=least,
        is_clear=least > 0,
    )


def _top(strength: strengths.FloatArray) -> int:
    """The highest; of those that are even the first by name."""
    return int(np.flatnonzero(strength >= strength.max() - TIE)[0])


def _against(
    table: pd.DataFrame,
    asked: Superlative,
    than: str,
    protocol: Protocol,
    *,
    n_against: int,
) -> Against:
    question = Question(
        id=asked.id,
        kind="more",
        attribute=asked.attribute,
        presentation=asked.presentation,
        contrast=Contrast(more=asked.condition, than=than),
        smallest_effect=asked.smallest_effect,
        alpha=asked.alpha,
    )
    decided = decide.decide_question(
        table,
        question,
        about_level=protocol.attribute(asked.attribute).about_level,
        loudness=protocol.paired_loudness,
    )
    decided = decide.contradicted_in_superlative(decided, n_against)
    judged = decided.judged
    ways = () if judged is None else (judged.found, *(f for one in judged.level for f in one.lowered))
    return Against(
        than=than,
        than_label=protocol.label(than),
        estimate=judged.found.share if judged else None,
        lower=min((direct_share.lower_limit(one, decided.alpha) for one in ways), default=None),
        unit="share",
        word=decided.word,
    )


def _word(against: tuple[Against, ...], n_listeners: int) -> tuple[verdict.Word, str]:
    words = {one.word for one in against}
    if n_listeners < verdict.MINIMUM_LISTENERS:
        return (
            "no verdict",
            f"{n_listeners} listeners, at least {verdict.MINIMUM_LISTENERS} are needed",
        )
    if not against:
        return "undecided", "it was compared with no other condition"
    if words == {"supported"}:
        return "supported", "every comparison is supported"
    if "contradicted" in words:
        lost = [one.than_label for one in against if one.word == "contradicted"]
        return "contradicted", f"contradicted against {', '.join(lost)}"
    left = [one.than_label for one in against if one.word != "supported"]
    return "undecided", f"left open against {', '.join(left)}"
