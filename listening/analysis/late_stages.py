"""What findings tell of stages that came after the deal."""

import math

from listening.analysis.collect import keyed_answers
from listening.analysis.collect.keyed_answers import Answers
from listening.analysis.opening.sealed_key import Opened
from listening.records.found.findings_study import StageFinding, StudyRecord
from listening.records.protocols.protocol import Protocol


def of_study(opened: Opened, answers: Answers, record: StudyRecord) -> tuple[StageFinding, ...]:
    """One finding a late stage, in their order."""
    if not opened.plan.stages:
        return ()
    came = [one for one in record.amendments if one.adds_stage]
    given = keyed_answers.as_columns(answers)
    of_slot = {slot.slot: slot.stage for slot in opened.plan.slots}
    stage_of = {name: of_slot[slot] for name, slot in zip(given["listener"], given["slot"], strict=True)}
    listeners = list(stage_of.values())
    return tuple(
        StageFinding(
            stage=planned.stage,
            at=amended.at,
            reason=amended.reason,
            after_openings=amended.openings,
            planned=planned.listeners,
            n_listeners=listeners.count(planned.stage),
            conditions=_conditions(opened.protocol, planned.stage),
            questions=tuple(q.id for q in opened.protocol.questions if q.stage == planned.stage),
            alpha=alpha(opened.protocol, planned.stage),
        )
        for planned, amended in zip(opened.plan.stages, came, strict=True)
    )


def alpha(protocol: Protocol, stage: int) -> float:
    """Chance at most that any question of a stage is wrongly supported (Bonferroni over its families)."""
    families: dict[str, float] = {}
    for number, asked in enumerate(q for q in protocol.questions if q.stage == stage):
        name = asked.family or f" {number}"
        families[name] = max(asked.alpha, families.get(name, 0.0))
    return min(1.0, math.fsum(families.values()))


def _conditions(protocol: Protocol, stage: int) -> tuple[str, ...]:
    """The conditions that its questions compare."""
    asked = (q for q in protocol.questions if q.stage == stage)
    names = dict.fromkeys(name for q in asked for name in q.contrast.conditions)
    return tuple(protocol.label(name) for name in names)
