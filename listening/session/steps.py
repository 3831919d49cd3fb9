"""The steps of a sitting in order, from its slot in the plan."""

import random
from collections.abc import Iterable
from dataclasses import dataclass

from listening.records import tasks
from listening.records.plan import Plan, PlannedTrial
from listening.session import hearing_check
from listening.session.view import Stage
from listening.store.store import EventRow

KINDS = (
    "told",
    "introduced",
    "rehearsed",
    "rested",
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


def of_slot(plan: Plan, slot: int) -> list[Step]:
    """All steps of one slot: opening, then trials with an introduction to each attribute, and breaks."""
    asked = [Step(Stage.QUESTIONNAIRE, number=i) for i in range(len(plan.sitting.questionnaire))]
    check = [Step(Stage.HEARING)] if plan.sitting.hearing_check else []
    steps = [Step(Stage.WELCOME), Step(Stage.CONSENT), *asked, Step(Stage.LEVEL), *check]
    introduced: set[str] = set()
    since_break, session, last = 0, 1, None
    for together in pairs(_trials(plan, slot)):
        if together[0].session != session:
            steps += [Step(Stage.SESSION_OVER, trial=last, number=session)]
            introduced, since_break, session = set(), 0, together[0].session
        last = together[-1]
        if since_break >= plan.sitting.break_every_trials:
            steps.append(Step(Stage.BREAK, trial=together[0]))
            since_break = 0
        for name in (trial.attribute for trial in together):
            if name not in introduced:
                introduced.add(name)
                steps.append(Step(Stage.INTRODUCTION, attribute=name, number=session))
                steps += rehearsal(plan, slot, name, round_number=1) if session == 1 else []
        steps += [Step(Stage.TRIAL, attribute=trial.attribute, trial=trial) for trial in together]
        since_break += 1
    return [*steps, Step(Stage.GOODBYE)]


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
    if (
        not wanted
        or tasks.named(asked.task).picks != "more"
        or not (asked.example_more and asked.example_less)
    ):
        return []
    rng = random.Random(f"{plan.drawn_from} {slot} {attribute} {round_number}")
    pair = (asked.example_more, asked.example_less)
    steps = []
    for i in range(ROUND_OF * wanted):
        clips = pair if rng.random() < 0.5 else pair[::-1]
        name = f"rehearsal {attribute} {round_number}.{i + 1}"
        trial = PlannedTrial(trial=name, attribute=attribute, clips=clips, practice=True)
        steps.append(Step(Stage.TRIAL, attribute=attribute, trial=trial, rehearsal=True))
    return [*steps, Step(Stage.STUCK, attribute=attribute, rehearsal=True, number=round_number)]
