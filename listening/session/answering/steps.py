"""The steps of a sitting in order, from its slot in the plan."""

import random
from collections.abc import Iterable
from dataclasses import dataclass

from listening.records.dealt.plan import Plan, PlannedTrial
from listening.session.answering import commenting, familiarising
from listening.session.showing import whole_range
from listening.session.showing.view import Stage
from listening.session.sounding import hearing_check
from listening.store.store import EventRow

KINDS = (
    "told",
    "introduced",
    "rehearsed",
    "rested",
    "trained",
    commenting.COMMENT,
    hearing_check.NOTED,
)  # events after which a step is over
ROUND_OF = 3  # a round of rehearsal offers so many times the right answers that are wanted


@dataclass(frozen=True)
class Step:
    """One screen to get past."""

    stage: Stage
    attribute: str = ""
    trial: PlannedTrial | None = None
    number: int = 0
    """Which question of the questionnaire; which session is over, or an attribute is explained in."""
    rehearsal: bool = False
    """Whether the pair of examples is asked until it is told apart."""
    said: str = ""
    """What was answered, where the right answer is told now."""
    is_again: bool = False
    """Whether the answer was given before, and is changed now."""


def of_slot(plan: Plan, slot: int) -> list[Step]:
    """All steps of one slot: opening, then trials with an introduction to each attribute, and breaks."""
    asked = [Step(Stage.QUESTIONNAIRE, number=i) for i in range(len(plan.sitting.questionnaire))]
    check = [Step(Stage.HEARING)] if plan.sitting.hearing_check else []
    steps = [Step(Stage.WELCOME), Step(Stage.CONSENT), *asked, Step(Stage.LEVEL), *check]
    introduced: set[str] = set()
    since_break, session = 0, 1
    before: PlannedTrial | None = None
    trials = _trials(plan, slot)
    for together in pairs(trials):
        if together[0].session != session:
            steps.append(Step(Stage.SESSION_OVER, trial=before, number=session))
            introduced, since_break, session = set(), 0, together[0].session
        before = together[-1]
        if since_break >= plan.sitting.break_every_trials:
            steps.append(Step(Stage.BREAK, trial=together[0]))
            since_break = 0
        for name in (trial.attribute for trial in together):
            if name not in introduced:
                introduced.add(name)
                steps.append(Step(Stage.INTRODUCTION, attribute=name, number=session))
                held = [trial for trial in trials if trial.session == session]
                pages = whole_range.pages(plan, slot, name, held)
                steps += [Step(Stage.TRAINING, attribute=name, trial=page) for page in pages]
                steps += rehearsal(plan, slot, name, round_number=1) if session == 1 else []
        steps += [Step(Stage.TRIAL, attribute=trial.attribute, trial=trial) for trial in together]
        if (last := commenting.wanted_after(plan, together)) is not None:
            steps.append(Step(Stage.COMMENT, attribute=last.attribute, trial=last))
        since_break += 1
    return [*steps, *([Step(Stage.COMMENT)] if commenting.is_at_end(plan) else []), Step(Stage.GOODBYE)]


def pairs(trials: Iterable[PlannedTrial]) -> list[list[PlannedTrial]]:
    """The trials of a slot, those together that ask about the same sounds."""
    made: list[list[PlannedTrial]] = []
    for trial in trials:
        if trial.follows and made:
            made[-1].append(trial)
        else:
            made.append([trial])
    return made


def session_under_way(left: Iterable[Step]) -> int:
    """The number of the session that the first trial left belongs to; 1 where none is left."""
    return next((step.trial.session for step in left if step.trial is not None and not step.rehearsal), 1)


def done(events: Iterable[EventRow]) -> dict[str, set[str]]:
    """What is over, by kind of event: trials, attributes or questions."""
    found: dict[str, set[str]] = {kind: set() for kind in KINDS}
    for event in events:
        if event.kind in found:
            found[event.kind].add(event.trial or _over(event.detail))
    return found


def introduced(attribute: str, session: int) -> str:
    """What an attribute's explanation is written down under: each session has its own."""
    return attribute if session < 2 else f"{attribute}, session {session}"


def _over(detail: str) -> str:
    return detail.split("|")[0]


def left(steps: list[Step], *, answered: set[str], done: dict[str, set[str]], consented: bool) -> list[Step]:
    """The steps that remain after a stop: the level is always set again, nothing answered is asked again.

    Parameters
    ----------
    answered : trial ids that have an answer
    done : what is over: attributes `introduced` and `rehearsed`, trials `rested` before, questions `told`
    """

    def is_over(step: Step) -> bool:
        if step.stage is Stage.CONSENT:
            return consented
        if step.stage is Stage.QUESTIONNAIRE:
            return str(step.number) in done["told"]
        if step.stage is Stage.HEARING:
            return bool(done[hearing_check.NOTED])
        if step.stage is Stage.INTRODUCTION:
            return introduced(step.attribute, step.number) in done["introduced"]
        if step.stage is Stage.TRAINING:
            return step.trial is not None and step.trial.trial in done["trained"]
        if step.stage is Stage.COMMENT:
            return commenting.is_over(step.trial, answered, done[commenting.COMMENT])
        if step.rehearsal:
            is_answered = step.trial is not None and step.trial.trial in answered
            return step.attribute in done["rehearsed"] or is_answered
        if step.trial is None:
            return False
        return step.trial.trial in answered or (
            step.stage is Stage.BREAK and step.trial.trial in done["rested"]
        )

    return [step for step in steps if not is_over(step)]


def _trials(plan: Plan, slot: int) -> tuple[PlannedTrial, ...]:
    return next(s.trials for s in plan.slots if s.slot == slot)


def rehearsal(plan: Plan, slot: int, attribute: str, *, round_number: int) -> list[Step]:
    """The two examples of an attribute as trials, in both orders at random, and the way out behind them."""
    asked = plan.attribute(attribute)
    wanted = plan.sitting.practice_until_right
    if not wanted or not familiarising.is_asked(asked):
        return []
    rng = random.Random(f"{plan.drawn_from} {slot} {attribute} {round_number}")
    steps = []
    for i in range(ROUND_OF * wanted):
        trial = familiarising.trial(asked, f"rehearsal {attribute} {round_number}.{i + 1}", rng)
        steps.append(Step(Stage.TRIAL, attribute=attribute, trial=trial, rehearsal=True))
    return [*steps, Step(Stage.STUCK, attribute=attribute, rehearsal=True, number=round_number)]
