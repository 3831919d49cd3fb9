"""Level's part in a planned question, bounded by monotony: in every level metric, and as it was heard."""

import numpy as np
import pandas as pd

from listening.analysis.collect import keyed_answers
from listening.analysis.decide import direct_answers
from listening.analysis.decide.direct_answers import DirectAnswers
from listening.records.protocols.protocol import Question
from stats.deciding import direct_share, level_bound
from stats.deciding.direct_share import DirectShare
from stats.deciding.level_bound import Controls, LevelBound
from stats.errors import StatsError

AS_HEARD = "as heard"
UNHEARD_DB = 99.0  # no control pair reaches it: what is heard has no bound
HEARD_UNASKED = (
    "which of the two is louder was not asked on these sounds, so level as it is heard, beyond what the "
    "meters say, is not looked at"
)

HEARD_UNBOUNDED = (
    "by ear the two may differ in level by more than the largest control gain of the question which is "
    "louder, so what level does to these answers has no bound"
)


def is_unheard(way: LevelBound) -> bool:
    """Whether this way is level as heard, and no control pair bounds what is heard."""
    return way.metric == AS_HEARD and way.largest_db >= UNHEARD_DB


def controls(table: pd.DataFrame, attribute: str) -> Controls:
    """The answers to an attribute's control pairs that differ in level."""
    rows = keyed_answers.select(table, attribute=attribute, role=keyed_answers.CONTROL)
    rows = rows[rows["gain_difference_db"] != 0]
    gain = rows["gain_difference_db"].to_numpy(float)
    chosen = rows["chosen"].to_numpy(float)
    return Controls(
        gain_db=np.abs(gain),
        louder_chosen=np.where(gain > 0, chosen, 1.0 - chosen),
        listener=rows["listener"].to_numpy().astype(str),
        louder_first=(gain > 0).astype(float),
    )


def every_way(
    table: pd.DataFrame,
    question: Question,
    direct: DirectAnswers,
    found: DirectShare,
    *,
    loudness: str | None,
    alpha: float,
) -> tuple[LevelBound, ...]:
    """The share with level's largest part taken off: by each level metric, then as heard if it was asked.

    Parameters
    ----------
    table : answers with the control pairs, and those on loudness
    loudness : the attribute that asks which is louder; None without one
    """
    known = controls(table, question.attribute)
    ways = [
        level_bound.bound(found, direct.listener, residual, known, metric=metric)
        for metric, residual in direct.residual_db.items()
    ]
    for limit_db in heard_limits_db(table, question, loudness, alpha):
        if limit_db:
            there = np.full(direct.chosen.size, limit_db)
            ways.append(level_bound.bound(found, direct.listener, there, known, metric=AS_HEARD))
    return tuple(ways)


def heard_limits_db(
    table: pd.DataFrame, question: Question, loudness: str | None, alpha: float
) -> tuple[float, ...]:
    """How much louder, and how much softer, `more` may at most be heard than `than`; nothing if not asked.

    Each limit is the smallest control gain that is, one-sided at 1 - alpha, called louder more often than the
    pair is. The same listeners answered both, so the limit is of their difference.
    """
    if loudness is None:
        return ()
    rows = keyed_answers.select(table, attribute=loudness, presentation=question.presentation)
    known = controls(table, loudness)
    each = [_heard_of_pair(rows, pair, known, alpha) for pair in question.contrast.pairs]
    if not all(each):
        return ()
    return max(above for above, _ in each), min(below for _, below in each)  # of several pairs the widest


def _heard_of_pair(
    rows: pd.DataFrame, pair: tuple[str, str], known: Controls, alpha: float
) -> tuple[float, ...]:
    direct = direct_answers.of_pair(rows, *pair)
    try:
        found = direct.share(alpha)
        gains = sorted(set(np.round(known.gain_db, 3)))
        above = next((g for g in gains if _is_below(found, direct, known, g)), UNHEARD_DB)
        below = next((g for g in gains if _is_above(found, direct, known, g)), UNHEARD_DB)
    except StatsError:
        return ()
    return float(above), -float(below)


def _is_below(found: DirectShare, direct: DirectAnswers, known: Controls, gain_db: float) -> bool:
    """Whether the pair is called louder less often than a control pair of that gain."""
    there = level_bound.bound(found, direct.listener, np.full(direct.chosen.size, gain_db), known)
    return all(direct_share.upper_limit(one, found.alpha) < level_bound.EVEN for one in there.lowered)


def _is_above(found: DirectShare, direct: DirectAnswers, known: Controls, gain_db: float) -> bool:
    there = level_bound.bound(found, direct.listener, np.full(direct.chosen.size, -gain_db), known)
    return all(direct_share.lower_limit(one, found.alpha) > level_bound.EVEN for one in there.raised)
