"""A whole simulated panel over a plan: what each listener answers, decided before any screen is drawn."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from listening.records.dealt.answer import Answer
from listening.records.dealt.plan import Plan, PlannedAttribute, Slot
from listening.records.kinds import tasks as task_list
from listening.simulate import answering
from listening.simulate import listener as one
from listening.simulate.listener import Truth
from listening.simulate.percepts import FloatArray, Percepts

ANSWERS = ("first", "tie", "second")
ANSWERED_AT = "2000-01-01T00:00:00.000+00:00"  # simulated listeners have no date: same seed, same bytes
NOISE_SD = 1.0  # of each sound as heard, logit
QUICKEST_S = 0.8  # of answers, after the sounds


@dataclass(frozen=True)
class Decision:
    """One trial of one listener."""

    answer: str
    thinking_s: float
    """From the end of the sounds to the answer."""


def decisions(plan: Plan, percepts: Percepts, *, slot: Slot, seed: int, truth: Truth) -> dict[str, Decision]:
    """What the listener on `slot` answers to each trial, by trial id."""
    attributes = tuple(a.name for a in plan.attributes)
    person = one.draw(truth, seed, slot.slot, attributes)
    quirk = one.quirks(truth, seed, attributes, percepts)
    taste = one.tastes(truth, seed, slot.slot, attributes, percepts)
    draws = np.random.default_rng(np.random.SeedSequence([seed, 13, slot.slot])).random((len(slot.trials), 3))
    made: dict[str, Decision] = {}
    for attribute in plan.attributes:
        at = [i for i, t in enumerate(slot.trials) if t.attribute == attribute.name]
        pull = quirk[attribute.name] + taste[attribute.name]
        strength = one.strength(person, attribute.name, percepts, pull)
        decide = _pairs if task_list.named(attribute.task).picks == "more" else _others
        scene = Scene(person, attribute, percepts, strength, truth, seed)
        for i, answer in zip(at, decide(scene, slot, at, draws[at]), strict=True):
            thinking_s = QUICKEST_S - 1.2 * float(np.log1p(-draws[i, 2]))
            made[slot.trials[i].trial] = Decision(answer, round(thinking_s, 3))
    return made


@dataclass(frozen=True)
class Scene:
    """One listener with one attribute."""

    person: one.Listener
    attribute: PlannedAttribute
    percepts: Percepts
    strength: FloatArray
    """(clips,) how much of the attribute is heard in each clip, logit."""
    truth: Truth
    seed: int


def _pairs(scene: Scene, slot: Slot, at: list[int], draws: FloatArray) -> list[str]:
    """Choices between two sounds."""
    if not at:
        return []
    rows = np.array([[scene.percepts.codes[clip] for clip in slot.trials[i].clips] for i in at])
    picks = one.chosen(
        scene.strength[rows[:, 0]],
        scene.strength[rows[:, 1]],
        order_bias=scene.person.order_bias,
        truth=scene.truth,
        tie_allowed=scene.attribute.no_difference,
        draws=draws[:, :2],
    )
    return [ANSWERS[pick] for pick in picks]


def _others(scene: Scene, slot: Slot, at: list[int], _draws: FloatArray) -> list[str]:
    """All other tasks, trial by trial, each with noise of its own."""
    relative = scene.strength - scene.strength.mean()
    level_db = one.own_level_db(scene.person, scene.percepts)
    made = []
    for i in at:
        trial = slot.trials[i]
        rng = np.random.default_rng(np.random.SeedSequence([scene.seed, 14, slot.slot, i]))
        rows = [scene.percepts.codes[clip] for clip in trial.clips]
        reference = None
        if trial.reference is not None:
            reference = float(
                relative[scene.percepts.codes[trial.reference]] + NOISE_SD * rng.standard_normal()
            )
        sounds = relative[rows] + NOISE_SD * rng.standard_normal(len(rows))
        heard = answering.Heard(scene.attribute, trial, sounds, reference, level_db[rows])
        made.append(answering.answer(heard, rng))
    return made


def answers(
    plan: Plan,
    percepts: Percepts,
    *,
    n_listeners: int,
    seed: int,
    truth: Truth | None = None,
    on_progress: Callable[[int, int], None] | None = None,
) -> list[Answer]:
    """What the panel answers, without session or store: the same answers, for many seeds.

    Times are those of thinking alone; practice is left out.
    """
    found: list[Answer] = []
    tasks = {a.name: a.task for a in plan.attributes}
    for number, slot in enumerate(plan.slots[:n_listeners]):
        decided = decisions(plan, percepts, slot=slot, seed=seed, truth=truth or Truth())
        found += [
            Answer.model_construct(
                sitting=f"simulated-{slot.slot:04d}",
                listener=code(slot.slot),
                slot=slot.slot,
                trial=trial.trial,
                attribute=trial.attribute,
                task=tasks[trial.attribute],
                clips=trial.clips,
                answer=decided[trial.trial].answer,
                response_s=decided[trial.trial].thinking_s,
                plays=1,
                practice=False,
                simulated=True,
                answered_at=ANSWERED_AT,
            )
            for trial in slot.trials
            if not trial.practice
        ]
        if on_progress is not None:
            on_progress(number + 1, min(n_listeners, len(plan.slots)))
    return found


def code(slot: int) -> str:
    """The code of the simulated listener on a slot."""
    return f"S{slot + 1:03d}"
