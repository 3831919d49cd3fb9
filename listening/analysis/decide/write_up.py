"""A decided question as the findings hold it: raw numbers, no words of print."""

import math
from collections.abc import Sequence

import pandas as pd

from listening.analysis.collect import keyed_answers
from listening.analysis.decide import as_planned, choice_model, sensitivity
from listening.analysis.decide.decide import Decided, Way, own_effect_that_matters
from listening.analysis.decide.level_slope import Slope
from listening.analysis.decide.sensitivity import Other
from listening.records.findings import (
    Interval,
    LevelCheck,
    LevelEquivalent,
    ListenerEffect,
    QuestionFinding,
    Sensitivity,
)
from listening.records.protocol import Protocol
from stats.measured import ratio_interval
from stats.mixed import marginal_share

EQUIVALENT_LEVEL = 0.95
NO_EQUIVALENT = "no level equivalent: a decibel of level does not clearly move this answer"
NO_SLOPE = "no level equivalent: how much a decibel moves this answer was not measured"
SEPARATED = "no level equivalent: the answers agree so far that the effect has no upper bound"


def question(
    decided: Decided,
    table: pd.DataFrame,
    protocol: Protocol,
    *,
    slope: Slope | None,
    others: Sequence[Other],
) -> QuestionFinding:
    """The finding of one planned question.

    Parameters
    ----------
    table : answers of the listeners who are not excluded
    slope : how much a decibel of level moves the question's attribute
    """
    asked = decided.fitted.question
    rows = keyed_answers.select(table, attribute=asked.attribute, presentation=asked.presentation)
    direct = sensitivity.direct_answers(rows, asked.contrast.more, asked.contrast.than)
    strikes = _strikes(rows, (asked.contrast.more, asked.contrast.than))
    made = QuestionFinding.model_validate(
        as_planned.of_question(asked, protocol)
        | {
            "smallest_effect_logit": decided.delta_logit,
            "alpha_corrected": decided.alpha,
            "word": decided.word,
            "reason": decided.reason,
            "level_flips": decided.flips,
            "n_listeners": decided.fitted.n_listeners,
            "n_answers": decided.fitted.n_answers,
            "n_direct": len(direct),
            "n_direct_more": int((direct["more"] == 1).sum()),
            "n_direct_no_difference": int((direct["more"] == choice_model.NO_DIFFERENCE).sum()),
            "stimuli_per_condition": strikes,
            "these_recordings_only": strikes < 2,
            "sensitivity": tuple(_sensitivity(other, decided.word) for other in others),
        }
    )
    if not decided.ways:
        return made
    return made.model_copy(update=_numbers(decided, direct, slope))


def interval(value: float, lower: float, upper: float, level: float) -> Interval:
    """An interval with nothing where a bound is infinite."""
    return Interval(value=value, lower=finite(lower), upper=finite(upper), level=level)


def finite(value: float | None) -> float | None:
    """The value, or None where it is infinite or no number."""
    return value if value is not None and math.isfinite(value) else None


def _strikes(rows: pd.DataFrame, conditions: tuple[str, str]) -> int:
    """The smaller number of stimuli that either condition was heard with."""
    heard = pd.DataFrame(
        {
            "condition": [*rows["condition_first"], *rows["condition_second"]],
            "stimulus": [*rows["stimulus_first"], *rows["stimulus_second"]],
        }
    )
    return min(heard["stimulus"][heard["condition"] == name].nunique() for name in conditions)


def _numbers(decided: Decided, direct: pd.DataFrame, slope: Slope | None) -> dict[str, object]:
    way = decided.ways[0]
    fit, level = way.fit, 1 - 2 * decided.alpha
    spread = math.hypot(fit.spread_listeners, math.sqrt(2) * fit.spread_stimuli)
    shares = [marginal_share.share(x, spread) for x in (fit.estimate, way.bounds.lower, way.bounds.upper)]
    return {
        "estimate": interval(fit.estimate, way.bounds.lower, way.bounds.upper, level),
        "se": fit.se,
        "df": fit.df,
        "p": decided.p,
        "bound_by": way.bounds.by,
        "share": Interval(value=shares[0], lower=shares[1], upper=shares[2], level=level),
        "share_average_listener": marginal_share.share(fit.estimate, 0.0),
        "spread_listeners": fit.spread_listeners,
        "spread_stimuli": fit.spread_stimuli,
        "share_other_way": marginal_share.share_below_zero(abs(fit.estimate), fit.spread_listeners),
        "share_outside": marginal_share.share_outside(
            fit.estimate, fit.spread_listeners, own_effect_that_matters(decided.fitted.question, fit)
        ),
        "share_outside_upper": way.verdict.share_outside_upper,
        "level_equivalent": _level_equivalent(way, slope),
        "level_checks": tuple(_level_check(one) for one in decided.ways),
        "listeners": _listeners(way, direct),
    }


def _level_equivalent(way: Way, slope: Slope | None) -> LevelEquivalent:
    def none(reason: str) -> LevelEquivalent:
        return LevelEquivalent(db=None, lower_db=None, upper_db=None, level=EQUIVALENT_LEVEL, reason=reason)

    if slope is None:
        return none(NO_SLOPE)
    if way.fit.by_profile:
        return none(SEPARATED)
    found = ratio_interval.fieller(
        way.fit.estimate,
        slope.estimate,
        numerator_se=way.fit.se,
        denominator_se=slope.se,
        df=min(way.fit.df, slope.n_listeners - 1),
        level=EQUIVALENT_LEVEL,
    )
    if not found.bounded:
        return none(NO_EQUIVALENT)
    return LevelEquivalent(
        db=found.estimate, lower_db=found.lower, upper_db=found.upper, level=EQUIVALENT_LEVEL
    )


def _level_check(way: Way) -> LevelCheck:
    return LevelCheck(
        metric=way.taken.metric,
        slope_at=way.taken.slope_at,
        slope_logit_per_db=way.taken.slope,
        residual_db=way.taken.residual_db,
        estimate=way.fit.estimate,
        lower=finite(way.bounds.lower),
        upper=finite(way.bounds.upper),
        word=way.verdict.word,
    )


def _listeners(way: Way, direct: pd.DataFrame) -> tuple[ListenerEffect, ...]:
    more = direct.assign(more=direct["more"] == 1)
    counts = more.groupby("listener")["more"].agg(["count", "sum"])
    effects = dict(zip(way.fit.design.listeners, map(float, way.fit.own_effects), strict=True))
    return tuple(
        ListenerEffect(
            listener=name,
            n=int(counts["count"].get(name, 0)),
            n_more=int(counts["sum"].get(name, 0)),
            effect_logit=effect,
        )
        for name, effect in effects.items()
    )


def _sensitivity(other: Other, word: str) -> Sensitivity:
    return Sensitivity(
        name=other.name,
        estimate=finite(other.estimate),
        lower=finite(other.lower),
        upper=finite(other.upper),
        p=finite(other.p),
        n_listeners=other.n_listeners,
        word=other.word,
        agrees=None if other.word is None else other.word == word,
        note=other.note,
    )
