"""What describes and decides nothing: slopes, both presentations, the measured and matched set."""

import pandas as pd

from listening.analysis.collect import keyed_answers
from listening.analysis.decide import contrast, superlative
from listening.analysis.decide.write_up import interval
from listening.analysis.explain import property_slopes, stimulus_covariates, strength_sets
from listening.analysis.explain.property_slopes import CovariateFit
from listening.records.found.findings import Winner
from listening.records.found.findings_explained import CovariateSlope, Explanation, SideBySide
from listening.records.found.findings_study import ConditionMeasure, Matching, StimulusRow
from listening.records.found.interval import Interval
from listening.records.protocols.protocol import AS_RECORDED, MATCHED, Contrast, Protocol
from listening.records.sounds.manifest import Manifest
from listening.records.sounds.measured import Measures
from stats import t_interval
from stats.errors import StatsError
from stats.measured import ratio_interval

LEVEL = 0.95


def winners(table: pd.DataFrame, protocol: Protocol) -> tuple[Winner, ...]:
    """Not planned: who came out on top of every set of three conditions or more."""
    found = (superlative.winner(table, protocol, *asked) for asked in strength_sets.asked(protocol))
    return tuple(one for one in found if one is not None)


def explanations(table: pd.DataFrame, protocol: Protocol, manifest: Manifest) -> tuple[Explanation, ...]:
    """Slopes on level, brightness and decay of every attribute and presentation that was asked."""
    chosen = stimulus_covariates.metrics(protocol.covariates)
    made = []
    for attribute, presentation in strength_sets.asked(protocol):
        rows = keyed_answers.select(table, attribute=attribute, presentation=presentation)
        if not len(rows):
            continue
        slopes: tuple[CovariateSlope, ...] = ()
        try:
            found = property_slopes.fit(rows, stimulus_covariates.differences(rows, manifest, chosen))
            alone = {one.name: one for one in found.alone}
            slopes = tuple(_covariate_slope(one, alone[one.name], chosen) for one in found.together)
            note = f"hardly differs: {', '.join(found.left_out)}" if found.left_out else ""
        except StatsError as error:
            note = str(error)
        made.append(
            Explanation(
                attribute=attribute,
                presentation=presentation,
                n_answers=len(rows),
                slopes=slopes,
                note=note,
            )
        )
    return tuple(made)


def side_by_side(table: pd.DataFrame, protocol: Protocol) -> tuple[SideBySide, ...]:
    """The planned contrasts of attributes that were asked of both presentations."""
    asked = set(strength_sets.asked(protocol))
    return tuple(
        _both(table, q.id, q.attribute, q.contrast)
        for q in protocol.questions
        if {(q.attribute, AS_RECORDED), (q.attribute, MATCHED)} <= asked and q.contrast.form == "pair"
    )


def conditions(measures: Measures | None, protocol: Protocol) -> tuple[ConditionMeasure, ...]:
    """What was measured of each condition, over its strikes."""
    return tuple(
        ConditionMeasure(
            condition=s.condition,
            label=protocol.label(s.condition),
            metric=s.metric,
            n=s.n,
            mean=s.mean,
            sd=s.sd,
            expanded_uncertainty=s.expanded_uncertainty,
        )
        for s in (measures.spreads if measures else ())
    )


def matching(manifest: Manifest) -> Matching:
    """How the stimuli were matched, with every study stimulus."""
    study = [s for s in manifest.stimuli if s.role == "study"]
    left = [abs(s.residual_db) for s in study if s.residual_db is not None]
    return Matching(
        label=manifest.matching_label,
        metric=manifest.matching_metric,
        tolerance_db=manifest.tolerance_db,
        calibrated=manifest.calibrated,
        largest_residual_db=max(left, default=None),
        stimuli=tuple(
            StimulusRow(
                stimulus=s.stimulus,
                condition=s.condition,
                strike=s.strike,
                presentation=s.presentation,
                gain_db=s.gain_db,
                residual_db=s.residual_db,
                after=s.after,
                file=s.file,
                digest=s.digest,
            )
            for s in study
        ),
    )


def _covariate_slope(one: CovariateFit, alone: CovariateFit, chosen: dict[str, str]) -> CovariateSlope:
    return CovariateSlope(
        name=one.name,
        metric=chosen[one.name],
        per=stimulus_covariates.per(chosen[one.name]),
        slope=interval(one.estimate, one.lower, one.upper, property_slopes.LEVEL),
        p=one.p,
        alone=interval(alone.estimate, alone.lower, alone.upper, property_slopes.LEVEL),
    )


def _both(table: pd.DataFrame, question: str, attribute: str, planned: Contrast) -> SideBySide:
    fits = {}
    for presentation in (AS_RECORDED, MATCHED):
        rows = keyed_answers.select(table, attribute=attribute, presentation=presentation)
        try:
            fits[presentation] = contrast.fit(contrast.design(rows, more=planned.more, than=planned.than))
        except StatsError as error:
            return SideBySide(question=question, as_recorded=None, matched=None, note=str(error))
    raw, matched = fits[AS_RECORDED], fits[MATCHED]
    return SideBySide(
        question=question,
        as_recorded=_interval(raw),
        matched=_interval(matched),
        explained_by_level=_explained(raw, matched),
    )


def _interval(fit: contrast.ContrastFit) -> Interval:
    return interval(fit.estimate, *t_interval.of(fit.estimate, fit.se, fit.df, LEVEL), LEVEL)


def _explained(raw: contrast.ContrastFit, matched: contrast.ContrastFit) -> Interval | None:
    """One minus matched over as recorded; None where the as-recorded effect is not clearly non-zero."""
    kept = ratio_interval.fieller(
        matched.estimate,
        raw.estimate,
        numerator_se=matched.se,
        denominator_se=raw.se,
        df=min(raw.df, matched.df),
        level=LEVEL,
    )
    if not kept.bounded:
        return None
    return interval(1 - kept.estimate, 1 - kept.upper, 1 - kept.lower, LEVEL)
