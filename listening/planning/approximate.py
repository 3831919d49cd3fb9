"""A first answer without simulated studies: the share of direct choices with the limits that will decide."""

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from listening.planning.panel_size import Trials
from listening.records.protocols.contrasts import Pair
from listening.records.protocols.planned_power import Assumed
from listening.records.protocols.protocol import Question
from stats.deciding import share_power
from stats.deciding.share_power import PlannedPair

MOST_REPEATS = 50  # hearings of one pair by one listener, as a protocol may say
MORE_STRIKES = (3, 4, 5, 6)
MORE_LISTENERS = (1.25, 1.5, 2.0, 3.0, 4.0)


def power(made: Trials, listeners: int, effect_logit: float, *, alpha: float, assumed: Assumed) -> float:
    """Chance that the planned question is supported, level aside.

    Parameters
    ----------
    alpha : of the question, with its family and planned looks
    """
    return _chance(planned_pair(made, listeners, effect_logit, assumed), made.question, alpha)


def planned_pair(made: Trials, listeners: int, effect_logit: float, assumed: Assumed) -> PlannedPair:
    """How often a listener hears the pair of the question, and how many strikes take part.

    Of a question on several pairs the weakest stands for their mean, which is on the safe side.
    """
    return _weakest(made, listeners, effect_logit, assumed)[1]


def weakest_pair(made: Trials, listeners: int, effect_logit: float, assumed: Assumed) -> Pair | None:
    """The conditions of the pair that a question on several pairs is planned on; None with a single pair."""
    several = len(made.question.contrast.pairs) > 1
    return _weakest(made, listeners, effect_logit, assumed)[0] if several else None


def _weakest(made: Trials, listeners: int, effect_logit: float, assumed: Assumed) -> tuple[Pair, PlannedPair]:
    question = made.question
    met = [(names, _met(made, names, listeners, effect_logit, assumed)) for names in question.contrast.pairs]
    return min(met, key=lambda one: _chance(one[1], question, question.alpha))  # of equals the first


def _met(made: Trials, names: Pair, listeners: int, effect_logit: float, assumed: Assumed) -> PlannedPair:
    places = sorted(made.conditions.index(name) for name in names)
    direct = (np.sort(made.condition, axis=1) == places).all(axis=1)
    heard, first_at = np.unique(made.stimulus[direct], return_index=True)
    place = made.condition[direct].ravel()[first_at]
    each = np.bincount(made.slot[direct], minlength=int(made.slot.max()) + 1)
    met = each > 0
    return PlannedPair(
        listeners=round(listeners * float(met.mean())),
        answers=round(float(each[met].mean())) if met.any() else 0,
        strikes=tuple(int((place == one).sum()) for one in places) if heard.size else (1, 1),
        logit=effect_logit,
        spread_listeners=assumed.spread_listeners,
        spread_strikes=assumed.spread_stimuli,
        lapses=assumed.lapses,
    )


def remedies(
    made: Trials, listeners: int, effect_logit: float, *, alpha: float, assumed: Assumed, target: float
) -> list[str]:
    """What would bring the chance to the target, each by itself: more hearings, strikes or listeners."""
    pair = planned_pair(made, listeners, effect_logit, assumed)
    if not pair.answers:
        return []

    def first(values: Sequence[int], changed: Callable[[int], PlannedPair]) -> int | None:
        return next((n for n in values if _chance(changed(n), made.question, alpha) >= target), None)

    hearings = first(range(pair.answers + 2, MOST_REPEATS + 1, 2), lambda n: replace(pair, answers=n))
    strikes = first(
        [k for k in MORE_STRIKES if k > min(pair.strikes)],
        lambda k: replace(pair, strikes=tuple(max(k, own) for own in pair.strikes)),
    )
    size = first(
        [math.ceil(listeners * step) for step in MORE_LISTENERS],
        lambda n: replace(pair, listeners=round(pair.listeners * n / listeners)),
    )
    told = (
        (hearings, "hearings of the pair by each listener"),
        (strikes, "strikes of each sound"),
        (size, "listeners"),
    )
    return [f"{n} {what}" for n, what in told if n is not None]


def _chance(pair: PlannedPair, question: Question, alpha: float) -> float:
    if pair.answers == 0:
        return 0.0
    smallest = question.smallest_share
    if question.of_kind.is_equivalence:
        limit = question.split_limit
        return share_power.same(pair, smallest=smallest, alpha=alpha, limit_outside=limit)
    return share_power.more(pair, smallest=smallest, alpha=alpha)
