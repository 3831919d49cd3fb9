"""Planned questions on ratings: decided in points of the scale, listeners and stimuli both as samples."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from listening.analysis import as_planned, families
from listening.analysis.collect import LEVEL_METRICS
from listening.analysis.decide import FLIPS, NO_SLOPE
from listening.analysis.write_up import finite
from listening.records.findings import Interval, LevelCheck, QuestionFinding, Sensitivity
from listening.records.protocol import AS_RECORDED, MATCHED, Protocol, Question
from listening.records.protocol_names import RATED
from stats import (
    linear_mixed,
    marginal_share,
    ordinal_mixed,
    random_terms,
    satterthwaite,
    t_interval,
    verdict,
)
from stats.errors import BadData, StatsError
from stats.random_terms import RandomTerm
from stats.verdict import Verdict

FloatArray = NDArray[np.float64]

SLOPE_LEVEL = 0.95  # coverage of the level slope's limits, at both of which a verdict must hold
IN_CATEGORIES = ("category rating", "comparison category")
LISTENER, CELL, STIMULUS = "listener", "listener x condition", "stimulus"


@dataclass(frozen=True)
class Slope:
    """Points per decibel, with limits."""

    estimate: float
    lower: float
    upper: float


@dataclass(frozen=True)
class _Fit:
    """The contrast with level taken one way, in points."""

    metric: str
    slope_at: str
    slope: float
    residual_db: float
    estimate: float
    se: float
    df: float
    spread_listeners: float
    """Standard deviation of the listeners' own contrasts."""
    spread_stimuli: float
    variance_listeners: float
    """Sampling variance of the estimate without the part of the stimuli."""


@dataclass(frozen=True)
class _Fitted:
    """One question before its alpha is known."""

    asked: Question
    unjudged: QuestionFinding
    fits: tuple[_Fit, ...]
    refused: str
    p_ordinal: float | None


def questions(table: pd.DataFrame, protocol: Protocol) -> dict[str, QuestionFinding]:
    """All planned questions on rated attributes, by id; each family corrected by Holm's steps.

    Parameters
    ----------
    table : ratings as `ratings.frame` gives them, without those who are excluded

    Source: Holm 1979, Scand. J. Statist. 6.
    """
    fitted = [
        _fitted(table, asked, protocol)
        for asked in protocol.questions
        if protocol.attribute(asked.attribute).task in RATED
    ]
    gathered = families.gathered(fitted, lambda one: one.asked)
    return {one.id: one for family in gathered for one in _judge_family(family)}


def level_slope(table: pd.DataFrame, attribute: str) -> Slope | None:
    """What a decibel alone adds to a rating, from sounds rated both as recorded and matched; None without.

    The conditions' own means are alike in both presentations; level alone is not.
    """
    rows = table[table["attribute"] == attribute].reset_index(drop=True)
    metrics = _metrics(rows)
    if rows["presentation"].nunique() < 2 or rows["listener"].nunique() < 2 or not metrics:
        return None
    try:
        columns, _, terms = _model(rows, rows["condition"].iloc[0])
        level_db = rows[metrics[0]].to_numpy(float)
        own = random_terms.term("level", _codes(rows["listener"]), level_db - level_db.mean())
        x = np.column_stack([columns, level_db - level_db.mean()])
        found = linear_mixed.fit(rows["score"], x, (*terms, own))
    except StatsError:
        return None
    df = rows["listener"].nunique() - 1
    estimate, se = float(found.estimate[-1]), float(found.se[-1])
    return Slope(estimate, *t_interval.of(estimate, se, df, SLOPE_LEVEL))


def _fitted(table: pd.DataFrame, asked: Question, protocol: Protocol) -> _Fitted:
    of_attribute = table[table["attribute"] == asked.attribute]
    rows = of_attribute[of_attribute["presentation"] == asked.presentation].reset_index(drop=True)
    made = _unfitted(rows, asked, protocol)
    corrected = asked.presentation != AS_RECORDED and not protocol.attribute(asked.attribute).about_level
    slope = level_slope(table, asked.attribute) if corrected and asked.presentation == MATCHED else None
    try:
        fits = tuple(_fit(rows, asked, *way) for way in _ways(rows, asked, slope))
        p = _ordinal(rows, asked) if made.task in IN_CATEGORIES else None
    except StatsError as error:
        return _Fitted(asked, made, (), f"the answers cannot bear the model: {error}", None)
    return _Fitted(asked, made, fits, NO_SLOPE if corrected and slope is None else "", p)


def _unfitted(rows: pd.DataFrame, asked: Question, protocol: Protocol) -> QuestionFinding:
    attribute = protocol.attribute(asked.attribute)
    ends = (asked.contrast.more, asked.contrast.than)
    direct = _direct(rows, *ends)
    strokes = [_stimuli(rows, end) for end in ends]
    return QuestionFinding.model_validate(
        as_planned.of_question(asked, protocol)
        | {
            "task": attribute.task,
            "scale": tuple(attribute.scale),
            "smallest_effect_logit": 0.0,
            "alpha_corrected": asked.alpha,
            "word": "undecided",
            "reason": "",
            "n_listeners": int(rows["listener"].nunique()),
            "n_answers": len(rows),
            "n_direct": len(direct),
            "n_direct_more": 0,
            "stimuli_per_condition": min(strokes),
            "these_recordings_only": min(strokes) < 2,
        }
    )


def _direct(rows: pd.DataFrame, more: str, than: str) -> pd.DataFrame:
    """Ratings of the two conditions, or of one against the other."""
    ends = [more, than]
    return rows[rows["condition"].isin(ends) & rows["against"].isin([*ends, ""])]


def _stimuli(rows: pd.DataFrame, condition: str) -> int:
    heard = [*rows["stimulus"][rows["condition"] == condition]]
    heard += [*rows["stimulus_against"][rows["against"] == condition]]
    return len(set(heard))


def _metrics(rows: pd.DataFrame) -> list[str]:
    return [m for m in LEVEL_METRICS if len(rows) and not rows[m].isna().any()]


def _ways(
    rows: pd.DataFrame, asked: Question, slope: Slope | None
) -> Iterator[tuple[str, str, float, float]]:
    """Level by each metric, at the slope's estimate and at both its limits."""
    if slope is None:
        yield "none", "none", 0.0, 0.0
        return
    for metric in _metrics(rows):
        residual_db = _residual_db(rows, asked, metric)
        for at, value in (("estimate", slope.estimate), ("lower", slope.lower), ("upper", slope.upper)):
            yield metric, at, value, residual_db


def _residual_db(rows: pd.DataFrame, asked: Question, metric: str) -> float:
    more, than = asked.contrast.more, asked.contrast.than
    if (rows["against"] != "").any():
        there = rows[metric][(rows["condition"] == more) & (rows["against"] == than)]
        back = rows[metric][(rows["condition"] == than) & (rows["against"] == more)]
        both = pd.concat([there, -back])
        return float(both.mean()) if len(both) else 0.0
    return float(
        rows[metric][rows["condition"] == more].mean() - rows[metric][rows["condition"] == than].mean()
    )


def _fit(
    rows: pd.DataFrame, asked: Question, metric: str, slope_at: str, slope: float, residual_db: float
) -> _Fit:
    """The contrast by restricted maximum likelihood, level's part taken off every score."""
    more, than = asked.contrast.more, asked.contrast.than
    columns, names, terms = _model(rows, than)
    if more not in names:
        raise BadData(f"no rating of {more}; wanted ratings of {more} and {than}")
    off = slope * rows[metric].to_numpy(float) if slope_at != "none" else 0.0
    score = rows["score"].to_numpy(float) - off
    if np.ptp(score) == 0:
        raise BadData("every rating is the same number, so nothing tells how listeners vary")
    found = linear_mixed.fit(score, columns, terms, names=names)
    weights = np.array([float(name == more) for name in names])
    tested = satterthwaite.t_tests(found, weights[None, :])
    of_each = 1 / _stimuli(rows, more) + 1 / _stimuli(rows, than)
    own = math.sqrt(2) * found.spread[CELL]
    stimuli = found.spread.get(STIMULUS, 0.0)
    n_listeners = rows["listener"].nunique()
    se = float(tested.se[0])
    return _Fit(
        metric=metric,
        slope_at=slope_at,
        slope=slope,
        residual_db=residual_db,
        estimate=float(tested.estimate[0]),
        se=se,
        df=min(float(tested.df[0]), n_listeners - 1.0),
        spread_listeners=own,
        spread_stimuli=stimuli,
        variance_listeners=max(se**2 - stimuli**2 * of_each, own**2 / n_listeners),
    )


def _model(rows: pd.DataFrame, than: str) -> tuple[FloatArray, tuple[str, ...], tuple[RandomTerm, ...]]:
    """Fixed columns (all conditions against `than`) and random terms: listeners, their views, stimuli.

    The model of a score of the second sound against the first is the difference of two.
    """
    conditions = sorted({*rows["condition"], *rows["against"]} - {""})
    if than not in conditions:
        raise BadData(f"no rating of {than}; wanted ratings of both conditions")
    others = [c for c in conditions if c != than]
    fixed = [np.ones(len(rows))] + [
        (rows["condition"] == c).to_numpy(float) - (rows["against"] == c).to_numpy(float) for c in others
    ]
    listener = _codes(rows["listener"])
    compared = bool((rows["against"] != "").all())
    terms = [random_terms.term(LISTENER, listener), _by(CELL, rows, "condition", compared, listener)]
    if len({*rows["stimulus"], *rows["stimulus_against"]} - {""}) > len(conditions):
        terms.append(_by(STIMULUS, rows, "stimulus", compared))
    return np.column_stack(fixed), ("level of the scale", *others), tuple(terms)


def _by(
    name: str, rows: pd.DataFrame, what: str, compared: bool, listener: NDArray[np.int64] | None = None
) -> RandomTerm:
    """Random effects of a condition (each listener's own) or a stimulus; a difference where compared."""
    against = "against" if what == "condition" else "stimulus_against"
    sides = [rows[what], rows[against]] if compared else [rows[what]]
    codes = _codes(pd.concat(sides))
    if listener is not None:
        codes = np.tile(listener, len(sides)) * (codes.max() + 1) + codes
    level = np.unique(codes, return_inverse=True)[1]  # without gaps: a late listener may have met few
    if compared:
        return random_terms.pair_term(name, level[: len(rows)], level[len(rows) :])
    return random_terms.term(name, level)


def _codes(values: pd.Series) -> NDArray[np.int64]:
    return np.asarray(pd.factorize(values, sort=True)[0], dtype=np.int64)


def _ordinal(rows: pd.DataFrame, asked: Question) -> float | None:
    """One-sided p of the cumulative model of the categories; None where it cannot be fitted."""
    columns, names, terms = _model(rows, asked.contrast.than)
    categories = _codes(rows["score"])
    try:
        found = ordinal_mixed.fit(categories, columns[:, 1:], terms, names=names[1:])
    except StatsError:
        return None
    at = names.index(asked.contrast.more) - 1
    return t_interval.upper_tail(float(found.estimate[at] / found.se[at]), rows["listener"].nunique() - 1.0)


def _judge_family(family: Sequence[_Fitted]) -> list[QuestionFinding]:
    return families.judged(
        family,
        p=lambda one: _p(one) if one.fits else 1.0,
        judge=lambda one, n: _judge(one, one.asked.alpha / n),
        rejects=lambda one, _, n: bool(one.fits) and not one.refused and _p(one) <= one.asked.alpha / n,
    )


def _p(one: _Fitted) -> float:
    """The largest one-sided p over all ways of taking level."""
    if one.asked.kind != "same":
        return max(t_interval.upper_tail(f.estimate / f.se, f.df) for f in one.fits)
    delta = one.asked.smallest_effect
    return max(
        t_interval.upper_tail((delta - side * f.estimate) / f.se, f.df) for f in one.fits for side in (1, -1)
    )


def _judge(one: _Fitted, alpha: float) -> QuestionFinding:
    made = one.unjudged.model_copy(update={"alpha_corrected": alpha})
    if not one.fits:
        return made.model_copy(update={"reason": one.refused})
    ways = [_verdict(f, one, alpha) for f in one.fits]
    first, found = ways[0], one.fits[0]
    word, reason = first.word, first.reason
    flips = len({way.word for way in ways}) > 1
    if one.refused and word != "no verdict":
        word, reason = "undecided", one.refused
    elif flips:
        other = next(i for i, way in enumerate(ways) if way.word != word)
        reason = f"{FLIPS}: {word} by {found.metric}, {ways[other].word} by {_way(one.fits[other])}"
        word = "undecided"
    level = 1 - 2 * alpha
    return made.model_copy(
        update={
            "word": word,
            "reason": reason,
            "level_flips": flips,
            "points": Interval(
                value=found.estimate, lower=finite(first.lower), upper=finite(first.upper), level=level
            ),
            "se": found.se,
            "df": found.df,
            "p": _p(one),
            "bound_by": "t",
            "spread_listeners": found.spread_listeners,
            "spread_stimuli": found.spread_stimuli,
            "share_outside_upper": first.share_outside_upper,
            "level_checks": tuple(map(_level_check, one.fits, ways)),
            "sensitivity": tuple(_others(one, word, alpha)),
        }
    )


def _verdict(fit: _Fit, one: _Fitted, alpha: float) -> Verdict:
    asked = one.asked
    lower, upper = t_interval.of(fit.estimate, fit.se, fit.df, 1 - 2 * alpha)
    outside = _share_outside_upper(fit, lower, upper, one, alpha) if asked.kind == "same" else None
    return verdict.decide(
        asked.rule,
        fit.estimate,
        lower,
        upper,
        delta=asked.smallest_effect,
        n_listeners=one.unjudged.n_listeners,
        share_outside_upper=outside,
        share_outside_limit=asked.split_limit if asked.kind == "same" else None,
    )


def _share_outside_upper(fit: _Fit, lower: float, upper: float, one: _Fitted, alpha: float) -> float:
    """As `decide` has it for choices: normally spread listeners, or a panel in camps, whichever is larger."""
    delta, n = one.asked.smallest_effect, one.unjudged.n_listeners
    spread = marginal_share.spread_upper(fit.spread_listeners, fit.variance_listeners, n, alpha=alpha)
    normal = max(marginal_share.share_outside(m, spread, delta) for m in (fit.estimate, lower, upper))
    return max(normal, marginal_share.share_outside_at_most(fit.estimate, fit.spread_listeners, delta))


def _way(fit: _Fit) -> str:
    return fit.metric if fit.slope_at == "estimate" else f"{fit.metric} at the slope's {fit.slope_at} limit"


def _level_check(fit: _Fit, way: Verdict) -> LevelCheck:
    return LevelCheck.model_validate(
        {
            "metric": fit.metric,
            "slope_at": fit.slope_at,
            "slope_logit_per_db": 0.0,
            "slope_points_per_db": fit.slope,
            "residual_db": fit.residual_db,
            "estimate": fit.estimate,
            "lower": finite(way.lower),
            "upper": finite(way.upper),
            "word": way.word,
        }
    )


def _others(one: _Fitted, word: str, alpha: float) -> Iterator[Sensitivity]:
    """The categories taken as ordered and not as evenly spaced; it knows no smallest effect."""
    if one.p_ordinal is None or one.asked.kind != "more":
        return
    said = "supported" if one.p_ordinal <= alpha else "undecided"
    yield Sensitivity.model_validate(
        {
            "name": "categories as ordered only",
            "estimate": None,
            "lower": None,
            "upper": None,
            "p": one.p_ordinal,
            "n_listeners": one.unjudged.n_listeners,
            "word": said,
            "agrees": None if word == "contradicted" or one.refused else said == word,
        }
    )
