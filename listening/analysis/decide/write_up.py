"""A decided question as the findings hold it: raw numbers, no words of print."""

import math
from collections.abc import Sequence

import pandas as pd

from listening.analysis.collect import keyed_answers
from listening.analysis.decide import as_planned, beside, confidence_limits
from listening.analysis.decide.beside import Beside
from listening.analysis.decide.contrast import ContrastFit
from listening.analysis.decide.decide import Decided
from listening.analysis.decide.direct_answers import DirectAnswers
from listening.analysis.decide.level_slope import Slope
from listening.analysis.decide.sensitivity import Other
from listening.records.found.findings_question import (
    ContrastPart,
    LevelCheck,
    LevelEquivalent,
    ListenerEffect,
    QuestionFinding,
    Sensitivity,
)
from listening.records.found.interval import Interval
from listening.records.protocols.protocol import Protocol
from stats.deciding import direct_share, share_verdict
from stats.deciding.level_bound import LevelBound
from stats.measured import ratio_interval
from stats.mixed import marginal_share

EQUIVALENT_LEVEL = 0.95
NO_EQUIVALENT = "no level equivalent: a decibel of level does not clearly move this answer"
NO_SLOPE = "no level equivalent: how much a decibel moves this answer was not measured"
SEPARATED = "no level equivalent: the answers agree so far that the effect has no upper limit"
TIE = 0.5


def question(
    decided: Decided,
    table: pd.DataFrame,
    protocol: Protocol,
    *,
    slope: Slope | None,
    others: Sequence[Other],
    models: Beside | None = None,
    n_panel: int = 0,
) -> QuestionFinding:
    """The finding of one planned question.

    Parameters
    ----------
    table : answers of the listeners who are not excluded
    slope : how much a decibel of level moves the question's attribute; it explains
    models : what stands beside the verdict
    n_panel : listeners of the whole panel, where a subgroup decides
    """
    fitted, asked = decided.fitted, decided.fitted.question
    rows = keyed_answers.select(table, attribute=asked.attribute, presentation=asked.presentation)
    strikes = _strikes(rows, fitted.direct, asked.contrast.conditions)
    looked = (*others, *(models.others if models else ()))
    made = QuestionFinding.model_validate(
        as_planned.of_question(asked, protocol)
        | {
            "decided_by": "direct share",
            "smallest_effect_logit": beside.smallest_effect_logit(asked, 0.0),
            "alpha_corrected": decided.alpha,
            "word": decided.word,
            "reason": decided.reason,
            "warnings": fitted.warnings,
            "level_flips": decided.flips,
            "n_panel": n_panel,
            "n_listeners": fitted.n_listeners,
            "n_answers": fitted.n_answers,
            "n_direct": fitted.direct.chosen.size,
            "n_direct_more": int((fitted.direct.chosen == 1).sum()),
            "n_direct_no_difference": int((fitted.direct.chosen == TIE).sum()),
            "stimuli_per_condition": strikes,
            "these_recordings_only": strikes < 2,
            "sensitivity": tuple(_sensitivity(other, decided.word) for other in looked),
            "listeners": _listeners(fitted.direct, models.model if models else None),
        }
    )
    if decided.judged is not None:
        made = made.model_copy(update=_decided(decided, decided.judged, protocol))
    if models is not None:
        made = made.model_copy(update={"transitivity_p": models.transitivity_p})
    if models is not None and models.model is not None:
        made = made.model_copy(update=_explained(decided, models.model, slope))
    return made


def interval(value: float, lower: float, upper: float, level: float) -> Interval:
    """An interval with nothing where a bound is infinite."""
    return Interval(value=value, lower=finite(lower), upper=finite(upper), coverage=level)


def finite(value: float | None) -> float | None:
    """The value, or None where it is infinite or no number."""
    return value if value is not None and math.isfinite(value) else None


def _strikes(rows: pd.DataFrame, direct: DirectAnswers, conditions: tuple[str, ...]) -> int:
    """The smallest number of stimuli that a condition was heard with in direct comparisons."""
    if direct.chosen.size:
        return direct.n_strikes
    heard = pd.DataFrame(
        {
            "condition": [*rows["condition_first"], *rows["condition_second"]],
            "stimulus": [*rows["stimulus_first"], *rows["stimulus_second"]],
        }
    )
    return min(heard["stimulus"][heard["condition"] == name].nunique() for name in conditions)


def _decided(decided: Decided, judged: share_verdict.Decided, protocol: Protocol) -> dict[str, object]:
    """The share and what it rests on."""
    found = judged.found
    return {
        "share": Interval(
            value=found.share, lower=found.lower, upper=found.upper, coverage=1 - 2 * decided.alpha
        ),
        "se": found.se,
        "df": found.df,
        "p": decided.p,
        "limits_by": found.method,
        "share_outside_upper": judged.outside_upper,
        "parts": _parts(decided, protocol),
        "level_checks": tuple(_level_check(one, judged) for one in judged.level),
    }


def _parts(decided: Decided, protocol: Protocol) -> tuple[ContrastPart, ...]:
    """Each pair of a contrast of several, as it was asked; one pair has no parts."""
    direct, contrast = decided.fitted.direct, decided.fitted.question.contrast
    pairs = contrast.pairs
    if len(pairs) < 2:
        return ()
    made = []
    for number, (more, than) in enumerate(pairs):
        of_pair = direct.of_part(number)
        made.append(
            ContrastPart(
                more=more,
                more_label=protocol.label(more),
                than=than,
                than_label=protocol.label(than),
                is_turned=contrast.exceeds is not None and number >= len(pairs) // 2,
                n=of_pair.chosen.size,
                n_more=int((of_pair.chosen == 1).sum()),
                share=of_pair.share(decided.alpha).share,
            )
        )
    return tuple(made)


def _explained(decided: Decided, fit: ContrastFit, slope: Slope | None) -> dict[str, object]:
    """What the mixed model over all conditions adds: log-odds, spreads, and the effect in decibels."""
    limits = confidence_limits.bounds(fit, decided.alpha)
    question = decided.fitted.question
    delta = beside.smallest_effect_logit(question, beside.spread(fit))
    own_delta = beside.smallest_effect_logit(question, math.sqrt(2) * fit.spread_stimuli)
    return {
        "smallest_effect_logit": delta,
        "estimate": interval(fit.estimate, limits.lower, limits.upper, 1 - 2 * decided.alpha),
        "share_average_listener": marginal_share.share(fit.estimate, 0.0),
        "spread_listeners": fit.spread_listeners,
        "spread_stimuli": fit.spread_stimuli,
        "share_other_way": marginal_share.share_below_zero(abs(fit.estimate), fit.spread_listeners),
        "share_outside": marginal_share.share_outside(fit.estimate, fit.spread_listeners, own_delta),
        "level_equivalent": _level_equivalent(fit, slope),
    }


def _level_equivalent(fit: ContrastFit, slope: Slope | None) -> LevelEquivalent:
    def none(reason: str) -> LevelEquivalent:
        return LevelEquivalent(
            db=None, lower_db=None, upper_db=None, coverage=EQUIVALENT_LEVEL, reason=reason
        )

    if slope is None:
        return none(NO_SLOPE)
    if fit.by_profile:
        return none(SEPARATED)
    found = ratio_interval.fieller(
        fit.estimate,
        slope.estimate,
        numerator_se=fit.se,
        denominator_se=slope.se,
        df=min(fit.df, slope.n_listeners - 1),
        level=EQUIVALENT_LEVEL,
    )
    if not found.bounded:
        return none(NO_EQUIVALENT)
    return LevelEquivalent(
        db=found.estimate, lower_db=found.lower, upper_db=found.upper, coverage=EQUIVALENT_LEVEL
    )


def _level_check(way: LevelBound, judged: share_verdict.Decided) -> LevelCheck:
    """The share with level's largest part taken off, and its limits with that part either way."""
    lowered, raised = (judged.found, *way.lowered), (judged.found, *way.raised)
    alpha = judged.alpha
    nearest = min(lowered, key=lambda one: one.share)
    gains = [one for one in way.gains if one.louder_more + one.louder_than > 0]
    largest = max(gains, key=lambda one: math.inf if one.gain_db is None else one.gain_db, default=None)
    bounded = largest is not None and largest.gain_db is not None
    return LevelCheck(
        metric=way.metric,
        slope_at="monotony",
        slope_logit_per_db=0.0,
        residual_db=way.residual_db,
        control_gain_db=largest.gain_db if largest is not None and bounded else None,
        control_share=largest.share if largest is not None and bounded else None,
        estimate=nearest.share,
        lower=min(direct_share.lower_limit(one, alpha) for one in lowered),
        upper=max(direct_share.upper_limit(one, alpha) for one in raised),
        word=share_verdict.decide(
            judged.found,
            judged.kind,
            smallest=judged.smallest,
            outside_limit=judged.outside_limit,
            level=(way,),
        ).word,
    )


def _listeners(direct: DirectAnswers, fit: ContrastFit | None) -> tuple[ListenerEffect, ...]:
    effects = {} if fit is None else dict(zip(fit.design.listeners, map(float, fit.own_effects), strict=True))
    own = pd.DataFrame({"listener": direct.listener, "chosen": direct.chosen}).groupby("listener")["chosen"]
    counts = own.agg(n="size", more=lambda c: int((c == 1).sum()), tied=lambda c: int((c == TIE).sum()))
    counts = counts.reindex(sorted({*counts.index, *effects}), fill_value=0)
    return tuple(
        ListenerEffect(
            listener=str(name),
            n=int(row["n"]),
            n_more=int(row["more"]),
            n_no_difference=int(row["tied"]),
            effect_logit=effects.get(str(name)),
        )
        for name, row in counts.iterrows()
    )


def _sensitivity(other: Other, word: str) -> Sensitivity:
    return Sensitivity.model_validate(
        {
            "name": other.name,
            "estimate": finite(other.estimate),
            "lower": finite(other.lower),
            "upper": finite(other.upper),
            "p": finite(other.p),
            "n_listeners": other.n_listeners,
            "word": other.word,
            "agrees": None if other.word is None else other.word == word,
            "note": other.note,
            "unit": other.unit,
        }
    )
