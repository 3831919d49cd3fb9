"""The pair of examples asked as trials, and what is right about them: they are the only sounds known here.

Source: ISO 6658 (familiarisation of assessors); orders of each test method as in `records/kinds/tasks.py`.
"""

import random
from typing import TYPE_CHECKING

from listening.records.dealt.plan import PlannedAttribute, PlannedTrial
from listening.records.kinds import tasks
from listening.session.answering.tasks import PLACES

if TYPE_CHECKING:
    from listening.session.state import State


def is_asked(attribute: PlannedAttribute) -> bool:
    """Whether the pair of examples has a right answer in this way of asking."""
    task = tasks.named(attribute.task)
    has_pair = bool(attribute.example_more and attribute.example_less)
    return has_pair and (task.picks == "more" or bool(task.orders))


def trial(attribute: PlannedAttribute, name: str, rng: random.Random) -> PlannedTrial:
    """One trial on the examples: of two, or in one of the orders that the method has."""
    pair = {"A": str(attribute.example_more), "B": str(attribute.example_less)}
    orders = tasks.named(attribute.task).orders
    if not orders:
        clips = tuple(pair.values()) if rng.random() < 0.5 else tuple(pair.values())[::-1]
        return PlannedTrial(trial=name, attribute=attribute.name, clips=clips, practice=True)
    reference, _, heard = rng.choice(orders).rpartition(":")
    return PlannedTrial(
        trial=name,
        attribute=attribute.name,
        clips=tuple(pair[letter] for letter in heard),
        practice=True,
        reference=pair.get(reference),
    )


def right(attribute: PlannedAttribute, asked: PlannedTrial) -> str:
    """The right answer to a trial on the examples, as it is stored."""
    clips = asked.clips
    match tasks.named(attribute.task).picks:
        case "more":
            at = clips.index(str(attribute.example_more))
        case "odd":
            at = next(i for i, clip in enumerate(clips) if clips.count(clip) == 1)
        case "like the reference":
            at = clips.index(str(asked.reference))
        case _:
            return "same" if len(set(clips)) == 1 else "different"
    return PLACES[at]


def told(state: "State") -> tuple[str, ...]:
    """What is said after an answer about the examples: whether it was right, and what is."""
    said, labels = state.step.said, {option.value: option.label for option in state.options}
    wanted = right(state.attribute, state.trial)
    text = state.words.text
    name = "feedback_right" if said == wanted else "feedback_other"
    return (text(name, right=labels[wanted], said=labels.get(said, said)), text("feedback_hear"))
