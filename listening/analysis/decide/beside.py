"""What stands beside a verdict and explains it: models of the direct answers, and of all conditions."""

import math
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from listening.analysis.collect import joined_pairs
from listening.analysis.decide import confidence_limits, contrast
from listening.analysis.decide.contrast import ContrastFit
from listening.analysis.decide.decide import Decided
from listening.analysis.decide.sensitivity import Other
from listening.analysis.explain import strengths
from listening.records.protocols.protocol import Question
from stats import t_interval
from stats.deciding import transitivity, verdict
from stats.errors import StatsError
from stats.mixed import marginal_share

DIRECT = "mixed model of the direct answers"
ALL = "mixed model over all conditions"
STRENGTHS = "strengths over all conditions"


@dataclass(frozen=True)
class Beside:
    """The mixed model over all conditions, and every model as one other way of looking."""

    model: ContrastFit | None
    others: tuple[Other, ...]
    transitivity_p: float | None = None
    """Whether comparisons over other conditions say the same as the direct ones; None where none tell."""


def of_question(decided: Decided, rows: pd.DataFrame) -> Beside:
    """Models beside one verdict; none of them decides.

    Parameters
    ----------
    rows : study answers of the question's attribute and presentation
    """
    pair = {decided.fitted.question.contrast.more, decided.fitted.question.contrast.than}
    rows = joined_pairs.of_condition(rows, decided.fitted.question.contrast.more)
    is_direct = rows["condition_first"].isin(pair) & rows["condition_second"].isin(pair)
    model, over_all = _fitted(ALL, rows, decided)
    if bool(is_direct.all()):
        return Beside(model, (replace(over_all, name=DIRECT),))
    direct = _fitted(DIRECT, rows[is_direct].reset_index(drop=True), decided)[1]
    others = (direct, over_all, _of_strengths(rows, decided))
    return Beside(model, others, _transitivity_p(rows, decided.fitted.question))


def _transitivity_p(rows: pd.DataFrame, question: Question) -> float | None:
    names, sides = np.unique(rows[["condition_first", "condition_second"]].astype(str), return_inverse=True)
    first, second = sides.reshape(-1, 2).T
    pair = (question.contrast.more, question.contrast.than)
    if not set(pair) <= set(names):
        return None
    listener = np.unique(rows["listener"].to_numpy().astype(str), return_inverse=True)[1]
    chosen = rows["chosen"].to_numpy(float)
    numbers = [int(np.flatnonzero(names == name)[0]) for name in pair]
    found = transitivity.test(listener, first, second, chosen, (numbers[0], numbers[1]))
    return None if found is None else found.p


def spread(fit: ContrastFit) -> float:
    """Standard deviation of the contrast over listeners and single strikes, log-odds."""
    return math.hypot(fit.spread_listeners, math.sqrt(2) * fit.spread_stimuli)


def smallest_effect_logit(question: Question, over: float) -> float:
    """The smallest effect that matters as log-odds of the mean listener, where effects spread so far."""
    if question.unit == "logit":
        return question.smallest_effect
    return marginal_share.mean_logit(question.smallest_share, over)


def _fitted(name: str, rows: pd.DataFrame, decided: Decided) -> tuple[ContrastFit | None, Other]:
    question = decided.fitted.question
    n_listeners = int(rows["listener"].nunique())
    try:
        made = contrast.design(rows, more=question.contrast.more, than=question.contrast.than)
        if n_listeners < 2:
            return None, Other(name, None, None, None, None, n_listeners, None, "one listener bears no model")
        fit = contrast.fit(made)
    except StatsError as error:
        return None, Other(name, None, None, None, None, n_listeners, None, str(error))
    limits = confidence_limits.bounds(fit, decided.alpha)
    delta = smallest_effect_logit(question, spread(fit))
    p = confidence_limits.tails(fit, [0.0], side="above")[0] if question.of_kind.has_direction else None
    word = _word(question, (fit.estimate, limits.lower, limits.upper), delta, n_listeners)
    return fit, Other(name, fit.estimate, limits.lower, limits.upper, p, n_listeners, word)


def _word(
    question: Question, found: tuple[float, float, float], delta: float, n_listeners: int
) -> verdict.Word | None:
    """What these limits would say; None for `same`, whose listeners no mean can stand for."""
    if question.of_kind.is_equivalence:
        return None
    return verdict.decide("more", *found, delta=delta, n_listeners=n_listeners).word


def _of_strengths(rows: pd.DataFrame, decided: Decided) -> Other:
    """The difference of two strengths of the Bradley-Terry model over all conditions."""
    question, n_listeners = decided.fitted.question, int(rows["listener"].nunique())
    try:
        found = strengths.fit(rows)
    except StatsError as error:
        return Other(STRENGTHS, None, None, None, None, n_listeners, None, str(error))
    weights = np.array([_sign(name, question) for name in found.conditions])
    estimate = float(weights @ found.strength)
    se = math.sqrt(float(weights @ found.covariance @ weights))
    lower, upper = t_interval.of(estimate, se, found.df, 1 - 2 * decided.alpha)
    p = t_interval.upper_tail(estimate / se, found.df) if question.of_kind.has_direction else None
    word = _word(question, (estimate, lower, upper), smallest_effect_logit(question, 0.0), n_listeners)
    return Other(STRENGTHS, estimate, lower, upper, p, n_listeners, word)


def _sign(name: str, question: Question) -> float:
    return float(name == question.contrast.more) - float(name == question.contrast.than)
