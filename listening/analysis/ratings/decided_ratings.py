"""Planned questions on ratings: decided in points of the scale, listeners and stimuli both as samples."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import pandas as pd

from listening.analysis.decide import as_planned, families
from listening.analysis.decide.decide import FLIPS, NO_SLOPE, Groups, of_group
from listening.analysis.decide.write_up import finite
from listening.analysis.ratings import rating_model
from listening.analysis.ratings.rating_model import RatedFit
from listening.records.found.findings_question import LevelCheck, QuestionFinding, Sensitivity
from listening.records.found.interval import Interval
from listening.records.kinds import tasks
from listening.records.protocols.protocol import AS_RECORDED, MATCHED, Protocol, Question
from listening.records.protocols.protocol_names import RATED
from stats import t_interval
from stats.deciding import verdict
from stats.deciding.verdict import Verdict
from stats.errors import StatsError
from stats.mixed import marginal_share


@dataclass(frozen=True)
class _Fitted:
    """One question before its alpha is known."""

    asked: Question
    unjudged: QuestionFinding
    fits: tuple[RatedFit, ...]
    refused: str
    p_ordinal: float | None


def questions(
    table: pd.DataFrame, protocol: Protocol, groups: Groups | None = None
) -> dict[str, QuestionFinding]:
    """All planned questions on rated attributes, by id; each family corrected by Holm's steps.

    Parameters
    ----------
    table : ratings as `ratings.frame` gives them, without those who are excluded
    groups : as `decide.of_group` takes them

    Source: Holm 1979, Scand. J. Statist. 6.
    """
    fitted = [
        _fitted(of_group(table, asked, groups or {}), asked, protocol)
        for asked in protocol.questions
        if protocol.attribute(asked.attribute).task in RATED
    ]
    gathered = families.gathered(fitted, lambda one: one.asked)
    return {one.id: one for family in gathered for one in _judge_family(family)}


def _fitted(table: pd.DataFrame, asked: Question, protocol: Protocol) -> _Fitted:
    of_attribute = table[table["attribute"] == asked.attribute]
    rows = of_attribute[of_attribute["presentation"] == asked.presentation].reset_index(drop=True)
    rows = rating_model.compared(rows, asked)
    made = _unfitted(rows, asked, protocol)
    corrected = asked.presentation != AS_RECORDED and not protocol.attribute(asked.attribute).about_level
    slope = (
        rating_model.level_slope(table, asked.attribute)
        if corrected and asked.presentation == MATCHED
        else None
    )
    try:
        fits = tuple(rating_model.fit(rows, asked, *way) for way in rating_model.ways(rows, asked, slope))
        p = rating_model.p_ordinal(rows, asked) if tasks.named(made.task).has_labels else None
    except StatsError as error:
        return _Fitted(asked, made, (), f"the answers cannot bear the model: {error}", None)
    return _Fitted(asked, made, fits, NO_SLOPE if corrected and slope is None else "", p)


def _unfitted(rows: pd.DataFrame, asked: Question, protocol: Protocol) -> QuestionFinding:
    attribute = protocol.attribute(asked.attribute)
    ends = (asked.contrast.more, asked.contrast.than)
    direct = rating_model.of_the_two(rows, *ends)
    strikes = [rating_model.n_stimuli(rows, end) for end in ends]
    return QuestionFinding.model_validate(
        as_planned.of_question(asked, protocol)
        | {
            "task": attribute.task,
            "scale": tuple(attribute.scale),
            "smallest_effect_logit": 0.0,
            "alpha_corrected": asked.alpha,
            "word": "undecided",
            "reason": "",
            "decided_by": "ratings",
            "n_listeners": int(direct["listener"].nunique()),
            "n_answers": len(rows),
            "n_direct": len(direct),
            "n_direct_more": 0,
            "stimuli_per_condition": min(strikes),
            "these_recordings_only": min(strikes) < 2,
        }
    )


def _judge_family(family: Sequence[_Fitted]) -> list[QuestionFinding]:
    return families.judged(
        family,
        p=lambda one: _p(one) if one.fits else 1.0,
        judge=lambda one, n: _judge(one, one.asked.alpha / n),
        rejects=lambda one, _, n: bool(one.fits) and not one.refused and _p(one) <= one.asked.alpha / n,
    )


def _p(one: _Fitted) -> float:
    """The largest one-sided p over all ways of taking level."""
    if not one.asked.of_kind.is_equivalence:
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
                value=found.estimate, lower=finite(first.lower), upper=finite(first.upper), coverage=level
            ),
            "se": found.se,
            "df": found.df,
            "p": _p(one),
            "limits_by": "t",
            "spread_listeners": found.spread_listeners,
            "spread_stimuli": found.spread_stimuli,
            "share_outside_upper": first.share_outside_upper,
            "level_checks": tuple(map(_level_check, one.fits, ways)),
            "sensitivity": tuple(_others(one, word, alpha)),
        }
    )


def _verdict(fit: RatedFit, one: _Fitted, alpha: float) -> Verdict:
    asked = one.asked
    lower, upper = t_interval.of(fit.estimate, fit.se, fit.df, 1 - 2 * alpha)
    outside = _share_outside_upper(fit, lower, upper, one, alpha) if asked.of_kind.is_equivalence else None
    return verdict.decide(
        asked.rule,
        fit.estimate,
        lower,
        upper,
        delta=asked.smallest_effect,
        n_listeners=one.unjudged.n_listeners,
        share_outside_upper=outside,
        share_outside_limit=asked.outside_limit,
    )


def _share_outside_upper(fit: RatedFit, lower: float, upper: float, one: _Fitted, alpha: float) -> float:
    """As `decide` has it for choices: normally spread listeners, or a panel in camps, whichever is larger."""
    delta, n = one.asked.smallest_effect, one.unjudged.n_listeners
    spread = marginal_share.spread_upper(fit.spread_listeners, fit.variance_listeners, n, alpha=alpha)
    normal = max(marginal_share.share_outside(m, spread, delta) for m in (fit.estimate, lower, upper))
    return max(normal, marginal_share.share_outside_at_most(fit.estimate, fit.spread_listeners, delta))


def _way(fit: RatedFit) -> str:
    return fit.metric if fit.slope_at == "estimate" else f"{fit.metric} at the slope's {fit.slope_at} limit"


def _level_check(fit: RatedFit, way: Verdict) -> LevelCheck:
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
    if one.p_ordinal is None or not one.asked.of_kind.has_direction:
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
