"""The whole analysis: open the key, collect, screen, fit, decide, and write the findings."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from importlib import metadata
from typing import Any

import pandas as pd

from listening import __version__
from listening.analysis import late_stages, planned_verdicts
from listening.analysis.collect import keyed_answers, listener_answers
from listening.analysis.collect.keyed_answers import Answers
from listening.analysis.decide import (
    beside,
    by_session,
    decide,
    level_slope,
    planned_ratio,
    sensitivity,
    write_up,
)
from listening.analysis.decide.contrast import ContrastFit
from listening.analysis.decide.level_slope import Slope
from listening.analysis.decide.sensitivity import Given
from listening.analysis.explain import describe, heard_and_measured, listener_covariates, strength_sets
from listening.analysis.opening import audit, conduct, key_opening, looks, told_record, unseen
from listening.analysis.opening.looks import Look
from listening.analysis.opening.sealed_key import Opened
from listening.analysis.planned_verdicts import Screened
from listening.analysis.ratings import difference_grades
from listening.records.found.findings import Findings, LevelSlope
from listening.records.found.findings_question import QuestionFinding
from listening.records.found.findings_study import Caution, Digests, Fixed, ListenerRow, Method, PanelFinding
from listening.records.protocols.protocol import Protocol
from listening.records.sounds.measured import Measures
from listening.records.study import Study
from stats.deciding import verdict

DECIDING = "share of choices in direct comparisons, listeners and strikes as samples"
DF_RULE = "Cochran’s (listeners − 1 and strikes − 1 that met the pair, by variance)"
LIBRARIES = ("numpy", "scipy", "pandas", "numba")
Progress = Callable[[int, int], None]


def run(
    study: Study,
    *,
    now: Callable[[], str],
    interim: bool = False,
    closed: str = "",
    on_progress: Progress | None = None,
) -> Findings:
    """Decide the planned questions of a study and write findings.json; the opening of the key is logged.

    Parameters
    ----------
    interim : look before the planned end; logged and counted
    closed : why no more listeners come, where the stopping rule lets fewer than planned be enough

    Raises
    ------
    StudyError
        Something is not what was dealt, there is no counted answer, or the planned end is not reached.
    """
    found = from_study(study, now=now, interim=interim, closed=closed, on_progress=on_progress)
    found.save(study.findings)
    told_record.write_analysis(study, found, at=now())
    return found


def from_study(
    study: Study,
    *,
    now: Callable[[], str],
    interim: bool = False,
    closed: str = "",
    only_answers: str = "",
    on_progress: Progress | None = None,
) -> Findings:
    """The findings of a study, nothing written but the log of the opening; parameters and errors as `run`.

    Parameters
    ----------
    only_answers : refuse where the answers are not those of this hash; see `key_opening.look`
    """
    at = key_opening.look(study, now=now, interim=interim, closed=closed, only_answers=only_answers)
    dealt = key_opening.fixed(study, at.opened.plan)
    if not at.look.is_planned(at.opened.protocol.stopping):
        return _counts_only(at, dealt)
    measures = Measures.load(study.measures) if study.measures.is_file() else None
    found = findings(
        at.opened,
        at.answers,
        look=at.look,
        fixed=dealt,
        n_unfinished=at.n_unfinished,
        measures=measures,
        groups=listener_answers.groups(at.own, at.opened.protocol),
        own=at.own,
        on_progress=on_progress,
    )
    conducted = conduct.of_study(at.opened.protocol, at.opened.manifest, measures, days=at.days)
    stages = late_stages.of_study(at.opened, at.answers, at.record)
    known: dict[str, Any] = {"remarks": at.said, "rooms": at.rooms}
    known |= {"sources": audit.sources(study), "record": at.record, "conducted": conducted, "stages": stages}
    return found.model_copy(update=known)


def findings(
    opened: Opened,
    answers: Answers,
    *,
    look: Look | None = None,
    fixed: Fixed | None = None,
    n_unfinished: int = 0,
    measures: Measures | None = None,
    groups: decide.Groups | None = None,
    own: listener_answers.Own | None = None,
    on_progress: Progress | None = None,
) -> Findings:
    """The findings from a dealt study and its answers, in memory: same input, same bytes.

    Parameters
    ----------
    look : at the end or planned by the stopping rule; any other is for counts alone, see `from_study`
    """
    protocol = opened.protocol if look is None else looks.protocol_at(opened.protocol, look)
    seen = planned_verdicts.screened(opened, answers, protocol)
    table, listeners, grades = seen.table, seen.listeners, seen.grades
    left_out = [row.listener for row in listeners if row.excluded]
    kept = seen.kept
    slopes = {a.name: level_slope.from_answers(kept, a.name) for a in protocol.attributes}
    models: dict[str, ContrastFit] = {}
    questions = []
    for question in _questions(protocol, seen, slopes, seen.deciding(groups, protocol), models):
        questions.append(question)
        if on_progress is not None:
            on_progress(len(questions), len(protocol.questions))
    questions = planned_ratio.with_factors(questions, protocol, measures)
    panel = _panel(protocol, seen.n_answers, listeners, n_unfinished)
    sets = strength_sets.fit(kept, protocol)
    shown = heard_and_measured.of_study(sets, slopes, protocol, manifest=opened.manifest, measures=measures)
    return Findings(
        version=__version__,
        name=protocol.name,
        title=protocol.title,
        simulated=panel.n_simulated > 0,
        digests=_digests(opened, answers),
        panel=panel,
        questions=tuple(questions),
        level_slopes=tuple(_slope(name, slope) for name, slope in slopes.items()),
        superlatives=tuple(planned_verdicts.superlatives(seen.of_first_stage(kept), protocol, look)),
        strengths=strength_sets.findings(sets, protocol),
        graded=difference_grades.of_study(grades, protocol, left_out),
        winners=describe.winners(kept, protocol),
        decompositions=shown.decompositions,
        heard_measured=shown.heard_measured,
        joint_models=shown.joint_models,
        played=shown.played,
        explanations=describe.explanations(kept, protocol, opened.manifest),
        listener_covariates=listener_covariates.of_study(kept, protocol, own or {}),
        side_by_side=describe.side_by_side(kept, protocol),
        conditions=describe.conditions(measures, protocol),
        matching=describe.matching(opened.manifest),
        method=_method(table),
        fixed=fixed,
        looks=looks.record(protocol, look) if look is not None else None,
        sessions=by_session.of_study(
            seen.kept_tables, protocol, owed=seen.owed, left_out=seen.too_rarely, models=models
        )
        if seen.owed
        else None,
        cautions=(*_cautions(opened, panel, questions, slopes), *_look_cautions(protocol, look)),
    )


def _counts_only(at: key_opening.Taken, dealt: Fixed) -> Findings:
    """What a look that was not planned may show."""
    protocol, plain = (
        at.opened.protocol,
        keyed_answers.frame([], at.opened.key, at.opened.manifest, may_be_empty=True),
    )
    found = unseen.findings(
        protocol,
        at.answers,
        digests=_digests(at.opened, at.answers),
        method=_method(plain),
        n_unfinished=at.n_unfinished,
        calibrated=at.opened.manifest.calibrated,
    )
    cautions = (*(("simulated",) if found.simulated else ()), *_look_cautions(protocol, at.look))
    return found.model_copy(
        update={"fixed": dealt, "looks": looks.record(protocol, at.look), "cautions": cautions}
    )


def _questions(
    protocol: Protocol,
    seen: Screened,
    slopes: Mapping[str, Slope | None],
    groups: decide.Groups,
    models: dict[str, ContrastFit],
) -> Iterator[QuestionFinding]:
    """One finding a question; the explaining model of each that has one goes into `models`."""
    kept, listeners = seen.kept, seen.listeners
    decided = decide.decide_all(kept, protocol, groups)
    others = planned_verdicts.by_other_tasks(seen, protocol, groups)
    for planned in protocol.questions:
        if planned.id in others:
            yield others[planned.id]
            continue
        about_level = protocol.attribute(planned.attribute).about_level
        of_whole, kept_now = (decide.of_group(one, planned, groups) for one in (seen.table, kept))
        given = Given(of_whole, listeners, about_level, protocol.paired_loudness)
        one = decided[planned.id]
        rows = keyed_answers.select(kept_now, attribute=planned.attribute, presentation=planned.presentation)
        is_pair = one.fitted.question.contrast.form == "pair"
        models_beside = beside.of_question(one, rows) if len(rows) and is_pair else None
        if models_beside is not None and models_beside.model is not None:
            models[planned.id] = models_beside.model
        yield write_up.question(
            one,
            kept_now,
            protocol,
            slope=slopes[planned.attribute],
            others=sensitivity.others(one, given),
            models=models_beside,
            n_panel=kept["listener"].nunique() if planned.among else 0,
        )


def _panel(
    protocol: Protocol, n_answers: int, listeners: Sequence[ListenerRow], n_unfinished: int
) -> PanelFinding:
    return PanelFinding(
        stands_for=protocol.panel.stands_for,
        training=protocol.panel.training,
        n_planned=protocol.n_planned,
        n_listeners=len(listeners),
        n_answers=n_answers,
        n_simulated=sum(row.simulated for row in listeners),
        n_excluded=sum(row.excluded for row in listeners),
        n_unfinished=n_unfinished,
        listeners=tuple(listeners),
    )


def _slope(attribute: str, slope: Slope | None) -> LevelSlope:
    if slope is None:
        return LevelSlope(attribute=attribute, source="none", slope=None, n_answers=0, n_listeners=0)
    return LevelSlope(
        attribute=attribute,
        source=slope.source,
        slope=write_up.interval(slope.estimate, slope.lower, slope.upper, level_slope.LEVEL),
        se=slope.se,
        n_answers=slope.n_answers,
        n_listeners=slope.n_listeners,
        bend=slope.bend,
        linearity_p=slope.linearity_p,
    )


def _digests(opened: Opened, answers: Answers) -> Digests:
    plan = opened.plan
    return Digests(
        study=plan.study_digest,
        protocol=plan.protocol_digest,
        manifest=plan.manifest_digest,
        key=plan.key_digest,
        answers=keyed_answers.digest(answers),
    )


def _method(table: pd.DataFrame) -> Method:
    return Method(
        deciding=DECIDING,
        df_rule=DF_RULE,
        minimum_listeners=verdict.MINIMUM_LISTENERS,
        slope_coverage=level_slope.LEVEL,
        level_metrics=keyed_answers.level_metrics(table),
        versions={"listening": __version__} | {name: metadata.version(name) for name in LIBRARIES},
    )


def _cautions(
    opened: Opened,
    panel: PanelFinding,
    questions: Sequence[QuestionFinding],
    slopes: Mapping[str, Slope | None],
) -> Iterator[Caution]:
    if panel.n_simulated:
        yield "simulated"
    if not opened.manifest.calibrated:
        yield "uncalibrated"
    if any(q.these_recordings_only for q in questions):
        yield "one strike"
    if panel.n_unfinished:
        yield "unfinished sittings"
    if panel.n_listeners < panel.n_planned:
        yield "fewer listeners than planned"
    if not opened.protocol.controls:
        yield "no control pairs"
    if any(q.beyond_level and slopes[q.attribute] is None for q in questions):
        yield "no level slope"


def _look_cautions(protocol: Protocol, look: Look | None) -> Iterator[Caution]:
    if look is None:
        return
    if not look.at_end:
        yield "interim look"
    if look.unplanned(protocol.stopping):
        yield "unplanned looks"
    if look.closed:
        yield "closed early"
