"""A first answer without simulated studies: the share of direct choices with the limits that will decide."""

import math
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from listening.planning import panel_size
from listening.planning.level_plan import LevelPlan
from listening.planning.panel_size import Trials
from listening.records.protocols.contrasts import Pair
from listening.records.protocols.planned_power import Assumed
from listening.records.protocols.protocol import Question
from stats.deciding import share_power
from stats.deciding.share_power import LEVEL_ASIDE, LevelTaken, PlannedPair

NEARER_CONTROLS = "control gains nearer to the level left over, or more pairs of them"
MOST_REPEATS = 50  # hearings of one pair by one listener, as a protocol may say
MORE_STRIKES = (3, 4, 5, 6)
MORE_LISTENERS = (1.25, 1.5, 2.0, 3.0, 4.0)


def power(
    made: Trials,
    listeners: int,
    effect_logit: float,
    *,
    alpha: float,
    assumed: Assumed,
    level: LevelPlan | None = None,
    louder: Mapping[Pair, float] | None = None,
) -> float:
    """Chance that the planned question is supported.

    Parameters
    ----------
    alpha : of the question, with its family and planned looks
    level : how level is bounded; None where the analysis takes none off
    louder : log-odds with which `more` of a pair is called louder, see `LevelPlan.cases`
    """
    cases: Sequence[LevelTaken] = LEVEL_ASIDE
    if level is not None:
        cases = level.cases(listeners, alpha=made.question.alpha, assumed=assumed, louder=louder)
    return _chance(planned_pair(made, listeners, effect_logit, assumed), made.question, alpha, cases)


def planned_pair(made: Trials, listeners: int, effect_logit: float, assumed: Assumed) -> PlannedPair:
    """How often a listener hears the pair of the question, and how many strikes take part.

    Of a question on several pairs, decided by their mean, each is taken as the weakest of them.
    """
    weakest = _weakest(made, listeners, effect_logit, assumed)[1]
    pairs = made.question.contrast.pairs
    if len(pairs) < 2:
        return weakest
    net: Counter[str] = Counter()
    for more, than in pairs:
        net[more] += 1
        net[than] -= 1
    # a contrast is the difference of two views, each with half of its variance
    part = sum(times**2 for times in net.values()) / (2 * len(pairs) ** 2)
    names = [name for pair in pairs for name in pair]
    shared = len(set(names)) < len(names)
    return replace(weakest, pairs=len(pairs), mean_part=part, shares_strikes=shared)


def weakest_pair(made: Trials, listeners: int, effect_logit: float, assumed: Assumed) -> Pair | None:
    """The conditions of the pair that a question on several pairs is planned on; None with a single pair."""
    several = len(made.question.contrast.pairs) > 1
    return _weakest(made, listeners, effect_logit, assumed)[0] if several else None


def _weakest(made: Trials, listeners: int, effect_logit: float, assumed: Assumed) -> tuple[Pair, PlannedPair]:
    question = made.question
    met = [
        (names, panel_size.met(made, names, listeners, effect_logit, assumed))
        for names in question.contrast.pairs
    ]
    return min(
        met, key=lambda one: _chance(one[1], question, question.alpha, LEVEL_ASIDE)
    )  # of equals the first


def remedies(
    made: Trials,
    listeners: int,
    effect_logit: float,
    *,
    alpha: float,
    assumed: Assumed,
    target: float,
    level: LevelPlan | None = None,
) -> list[str]:
    """What would bring the chance to the target, each by itself: hearings, strikes, listeners, controls."""
    pair = planned_pair(made, listeners, effect_logit, assumed)
    if not pair.answers:
        return []

    def chance(changed: PlannedPair, n: int) -> float:
        cases: Sequence[LevelTaken] = LEVEL_ASIDE
        if level is not None:
            cases = level.cases(n, alpha=made.question.alpha, assumed=assumed)
        return _chance(changed, made.question, alpha, cases)

    def first(values: Sequence[int], changed: Callable[[int], PlannedPair]) -> int | None:
        return next((n for n in values if chance(changed(n), changed(n).listeners) >= target), None)

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
    found = [f"{n} {what}" for n, what in told if n is not None]
    if level is not None and _chance(pair, made.question, alpha, LEVEL_ASIDE) >= target:
        found.append(NEARER_CONTROLS)
    return found


def _chance(pair: PlannedPair, question: Question, alpha: float, level: Sequence[LevelTaken]) -> float:
    if pair.answers == 0:
        return 0.0
    smallest = question.smallest_share
    if question.of_kind.is_equivalence:
        limit = question.split_limit
        return share_power.same(pair, smallest=smallest, alpha=alpha, limit_outside=limit, level=level)
    return share_power.more(pair, smallest=smallest, alpha=alpha, level=level)
