"""The verdict on each planned question: the planned contrast, level taken every way, families corrected."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd

from listening.analysis.collect import keyed_answers
from listening.analysis.decide import contrast, families
from listening.analysis.decide.confidence_limits import Bounds, bounds, tails
from listening.analysis.decide.contrast import ContrastFit
from listening.analysis.decide.level_slope import Slope
from listening.records import metric_register
from listening.records.protocol import AS_RECORDED, Protocol, Question
from stats.deciding import verdict
from stats.deciding.verdict import Verdict
from stats.errors import StatsError
from stats.mixed import marginal_share

NO_SLOPE = (
    "nothing tells how much level alone moves this answer: no control pairs and no second presentation, so "
    "what is heard beyond level stays open"
)
SAME_OFFSET_LOGIT = 1e-4  # moves an estimate by no more than that, below every printed digit
FLIPS = "the verdict depends on how level is taken"


@dataclass(frozen=True)
class LevelTaken:
    """One way of taking level: the metric, and the log-odds per decibel."""

    metric: str
    slope_at: str
    """`estimate`, `lower` or `upper` limit of the slope; `none` where level is not corrected."""
    slope: float
    residual_db: float
    """Mean level of the first condition above the second, in direct comparisons."""


@dataclass(frozen=True)
class Fitted:
    """One question with its fits; the first decides, and the others must agree with it."""

    question: Question
    ways: tuple[tuple[LevelTaken, ContrastFit], ...]
    refused: str
    """Why no verdict can be had whatever the numbers; empty if it can."""
    n_listeners: int
    n_answers: int


@dataclass(frozen=True)
class Way:
    """One way of taking level, judged."""

    taken: LevelTaken
    fit: ContrastFit
    bounds: Bounds
    verdict: Verdict


@dataclass(frozen=True)
class Decided:
    """One question, judged at the alpha that its family leaves it."""

    fitted: Fitted
    word: verdict.Word
    reason: str
    flips: bool
    alpha: float
    delta_logit: float
    p: float | None
    ways: tuple[Way, ...]


def decide_question(
    table: pd.DataFrame,
    question: Question,
    *,
    slope: Slope | None,
    about_level: bool = False,
    metric: str | None = None,
    alpha: float | None = None,
    first_way_only: bool = False,
) -> Decided:
    """One planned question decided by itself, without a file or a family.

    Parameters
    ----------
    table : answers as `collect.frame` gives them; other attributes and control pairs may be in it
    slope : of the question's attribute; see `level_slope.from_answers`
    about_level : the attribute is level itself, so level is not corrected
    metric : what the stimuli were matched on, taken first
    alpha : the corrected one-sided alpha; the question's own if not given
    first_way_only : take level by the matching metric at the slope's estimate alone; then it decides nothing
    """
    fitted = fit_question(
        table,
        question,
        slope=slope,
        about_level=about_level,
        metric=metric,
        first_way_only=first_way_only,
    )
    return judge(fitted, question.alpha if alpha is None else alpha)


def decide_all(
    table: pd.DataFrame, protocol: Protocol, slopes: Mapping[str, Slope | None]
) -> dict[str, Decided]:
    """All questions that choices decide, by id; each family corrected by Holm's steps."""
    fitted = [
        fit_question(
            table,
            question,
            slope=slopes.get(question.attribute),
            about_level=protocol.attribute(question.attribute).about_level,
            metric=protocol.presentation(question.presentation).metric,
        )
        for question in protocol.questions
        if question.by_choices
    ]
    gathered = families.gathered(fitted, lambda one: one.question)
    decided = [one for family in gathered for one in judge_family(family)]
    return {one.fitted.question.id: one for one in decided}


def judge_family(family: Sequence[Fitted]) -> list[Decided]:
    """The questions of a family, judged by Holm's steps."""
    return families.judged(
        family,
        p=lambda one: p if (p := p_value(one)) is not None else 1.0,
        judge=lambda one, n: judge(one, one.question.alpha / n),
        rejects=lambda _, decided, n: _rejects(decided),
    )


def contradicted_in_family(one: Decided, size: int) -> Decided:
    """The question; if contradicted, judged again at its alpha shared over a family of `size`."""
    shared = one.fitted.question.alpha / size
    if one.word != "contradicted" or one.alpha <= shared:
        return one
    return judge(one.fitted, shared)


def fit_question(
    table: pd.DataFrame,
    question: Question,
    *,
    slope: Slope | None,
    about_level: bool = False,
    metric: str | None = None,
    first_way_only: bool = False,
) -> Fitted:
    """The planned contrast fitted with level taken every way; see `decide_question`."""
    rows = keyed_answers.select(table, attribute=question.attribute, presentation=question.presentation)
    n_listeners = int(rows["listener"].nunique())
    more, than = question.contrast.more, question.contrast.than
    try:
        made = contrast.design(rows, more=more, than=than)
        if n_listeners < 2:
            return Fitted(question, (), "", n_listeners, len(rows))
        corrected = question.presentation != AS_RECORDED and not about_level
        if not corrected or slope is None:
            taken = [LevelTaken("none", "none", 0.0, 0.0)]
        else:
            taken = _ways(rows, question, slope, metric)
        ways = _fits(made, rows, taken[:1] if first_way_only else taken)
    except StatsError as error:
        return Fitted(question, (), f"the answers cannot bear the model: {error}", n_listeners, len(rows))
    refused = NO_SLOPE if corrected and slope is None else ""
    return Fitted(question, ways, refused, n_listeners, len(rows))


def judge(fitted: Fitted, alpha: float) -> Decided:
    """The verdict at a one-sided alpha: the first way's, if every way of taking level gives the same."""
    question = fitted.question
    if not fitted.ways:
        word, reason = _without_fit(fitted)
        return Decided(fitted, word, reason, False, alpha, smallest_effect_logit(question, 0.0), None, ())
    first = fitted.ways[0][1]
    delta = smallest_effect_logit(question, _spread(first))
    base = bounds(first, alpha)
    ways = tuple(
        _judge_way(fitted, taken, fit, _bounds_of(fit, first, base, alpha), alpha=alpha, delta=delta)
        for taken, fit in fitted.ways
    )
    word, reason = ways[0].verdict.word, ways[0].verdict.reason
    flips = len({way.verdict.word for way in ways}) > 1
    if fitted.refused and word != "no verdict":
        word, reason = "undecided", fitted.refused
    elif flips:
        other = next(way for way in ways if way.verdict.word != word)
        reason = f"{FLIPS}: {word} by {_way(ways[0])}, {other.verdict.word} by {_way(other)}"
        word = "undecided"
    return Decided(fitted, word, reason, flips, alpha, delta, p_value(fitted), ways)


def p_value(fitted: Fitted) -> float | None:
    """The largest one-sided p over all ways of taking level; None without a fit."""
    if not fitted.ways:
        return None
    if fitted.question.kind == "more":
        return max(_tails(fitted, 0.0, "above"))
    delta = smallest_effect_logit(fitted.question, _spread(fitted.ways[0][1]))
    return max(*_tails(fitted, -delta, "above"), *_tails(fitted, delta, "below"))


def _tails(fitted: Fitted, null: float, side: Literal["above", "below"]) -> list[float]:
    first = fitted.ways[0][1]
    if not first.by_profile:
        return [tails(fit, [null], side=side)[0] for _, fit in fitted.ways]
    moved = [null - (fit.estimate - first.estimate) for _, fit in fitted.ways]
    return tails(first, moved, side=side)


def _bounds_of(fit: ContrastFit, first: ContrastFit, base: Bounds, alpha: float) -> Bounds:
    """Bounds of one way; a profile is made once, since an offset only moves it along the contrast."""
    if fit is first:
        return base
    return base.moved(fit.estimate - first.estimate) if first.by_profile else bounds(fit, alpha)


def _judge_way(
    fitted: Fitted, taken: LevelTaken, fit: ContrastFit, found: Bounds, *, alpha: float, delta: float
) -> Way:
    question = fitted.question
    outside = _share_outside_upper(question, fit, found, alpha) if question.kind == "same" else None
    judged = verdict.decide(
        question.rule,
        fit.estimate,
        found.lower,
        found.upper,
        delta=delta,
        n_listeners=fitted.n_listeners,
        share_outside_upper=outside,
        share_outside_limit=question.split_limit if question.kind == "same" else None,
    )
    return Way(taken, fit, found, judged)


def _share_outside_upper(question: Question, fit: ContrastFit, found: Bounds, alpha: float) -> float:
    """Upper limit of the share of listeners whose own effect is as large as matters.

    The larger of two: normally spread listeners at the spread's upper limit, wherever between its bounds the
    mean may lie; and Chebyshev's bound at the estimates, which holds for a panel split in camps as well.
    """
    own_delta = own_effect_that_matters(question, fit)
    spread = marginal_share.spread_upper(
        fit.spread_listeners, fit.mean_variance_listeners, len(fit.design.listeners), alpha=alpha
    )
    means = (fit.estimate, *(bound for bound in (found.lower, found.upper) if math.isfinite(bound)))
    normal = max(marginal_share.share_outside(mean, spread, own_delta) for mean in means)
    return max(normal, marginal_share.share_outside_at_most(fit.estimate, fit.spread_listeners, own_delta))


def _spread(fit: ContrastFit) -> float:
    """Standard deviation of the contrast over listeners and single strikes."""
    return math.hypot(fit.spread_listeners, math.sqrt(2) * fit.spread_stimuli)


def own_effect_that_matters(question: Question, fit: ContrastFit) -> float:
    """The smallest effect that matters as one listener's own log-odds, over single strikes."""
    return smallest_effect_logit(question, math.sqrt(2) * fit.spread_stimuli)


def smallest_effect_logit(question: Question, spread: float) -> float:
    """The smallest effect that matters as log-odds of the mean listener."""
    if question.unit == "logit":
        return question.smallest_effect
    return marginal_share.mean_logit(question.smallest_effect, spread)


def _ways(rows: pd.DataFrame, question: Question, slope: Slope, metric: str | None) -> list[LevelTaken]:
    """Level by each metric, at the slope's estimate and at both its limits; the matching metric first."""
    metrics = keyed_answers.level_metrics(rows)
    ordered = sorted(metrics, key=lambda name: name != metric_register.named(metric or "").measured_key)
    values = (("estimate", slope.estimate), ("lower", slope.lower), ("upper", slope.upper))
    residual = {name: _residual_db(rows, question, name) for name in ordered}
    return [LevelTaken(name, at, value, residual[name]) for name in ordered for at, value in values]


def _residual_db(rows: pd.DataFrame, question: Question, metric: str) -> float:
    more, than = question.contrast.more, question.contrast.than
    forward = (rows["condition_first"] == more) & (rows["condition_second"] == than)
    backward = (rows["condition_first"] == than) & (rows["condition_second"] == more)
    difference = rows[f"{metric}_difference"]
    oriented = pd.concat([difference[forward], -difference[backward]])
    return float(oriented.mean()) if len(oriented) else 0.0


def _fits(
    made: contrast.Design, rows: pd.DataFrame, taken: Sequence[LevelTaken]
) -> tuple[tuple[LevelTaken, ContrastFit], ...]:
    """The fit for each way of taking level, made once for ways that say the same of every trial."""
    fitted: list[tuple[LevelTaken, ContrastFit]] = []
    for way in taken:
        offset = _offset(rows, way)
        alike = (fit for _, fit in fitted if np.abs(fit.offset - offset).max() < SAME_OFFSET_LOGIT)
        known = next(alike, None)
        fitted.append((way, contrast.fit(made, offset) if known is None else known))
    return tuple(fitted)


def _offset(rows: pd.DataFrame, taken: LevelTaken) -> contrast.FloatArray:
    if taken.slope_at == "none":
        return np.zeros(len(rows))
    return taken.slope * rows[f"{taken.metric}_difference"].to_numpy(float)


def _rejects(decided: Decided) -> bool:
    """Whether the null hypothesis of Holm's step falls, whatever the estimate's size."""
    if not decided.ways or decided.fitted.refused:
        return False
    if decided.fitted.question.kind == "more":
        return all(way.bounds.lower > 0 for way in decided.ways)
    delta = decided.delta_logit
    return all(-delta < way.bounds.lower and way.bounds.upper < delta for way in decided.ways)


def _without_fit(fitted: Fitted) -> tuple[verdict.Word, str]:
    if fitted.n_listeners < verdict.MINIMUM_LISTENERS:
        return (
            "no verdict",
            f"{fitted.n_listeners} listeners, at least {verdict.MINIMUM_LISTENERS} are needed",
        )
    return "undecided", fitted.refused


def _way(way: Way) -> str:
    if way.taken.slope_at == "estimate":
        return f"{way.taken.metric}"
    return f"{way.taken.metric} at the slope's {way.taken.slope_at} limit"
