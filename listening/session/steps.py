"""The steps of a sitting in order, from its slot in the plan."""

from dataclasses import dataclass

from listening.records.plan import Plan, PlannedTrial
from listening.session.view import Stage


@dataclass(frozen=True)
class Step:
    """One screen to get past."""

    stage: Stage
    attribute: str = ""
    trial: PlannedTrial | None = None


def of_slot(plan: Plan, slot: int) -> list[Step]:
    """All steps of one slot: opening, then trials with an introduction to each attribute, and breaks."""
    steps = [Step(Stage.WELCOME), Step(Stage.CONSENT), Step(Stage.LEVEL)]
    introduced: set[str] = set()
    since_break = 0
    for trial in _trials(plan, slot):
        if since_break >= plan.sitting.break_every_trials:
            steps.append(Step(Stage.BREAK, trial=trial))
            since_break = 0
        if trial.attribute not in introduced:
            introduced.add(trial.attribute)
            steps.append(Step(Stage.INTRODUCTION, attribute=trial.attribute))
        steps.append(Step(Stage.TRIAL, attribute=trial.attribute, trial=trial))
        since_break += 1
    return [*steps, Step(Stage.GOODBYE)]


def left(
    steps: list[Step], *, answered: set[str], introduced: set[str], rested: set[str], consented: bool
) -> list[Step]:
    """The steps that remain after a stop: the level is always set again, nothing answered is asked again.

    Parameters
    ----------
    answered, rested : trial ids that have an answer, or whose break is over
    introduced : attributes whose introduction is over
    """

    def is_over(step: Step) -> bool:
        if step.stage is Stage.CONSENT:
            return consented
        if step.stage is Stage.INTRODUCTION:
            return step.attribute in introduced
        if step.trial is None:
            return False
        return step.trial.trial in answered or (step.stage is Stage.BREAK and step.trial.trial in rested)

    return [step for step in steps if not is_over(step)]


def _trials(plan: Plan, slot: int) -> tuple[PlannedTrial, ...]:
    return next(s.trials for s in plan.slots if s.slot == slot)
