"""Training on the whole range: every sound that will be rated, to hear freely before the first grade.

Source: ITU-R BS.1116-3 and BS.1534-3, clauses on training before the grading phase.
"""

import random
from collections.abc import Iterable
from typing import TYPE_CHECKING

from listening.records.dealt.plan import Plan, PlannedTrial
from listening.records.kinds import tasks

if TYPE_CHECKING:
    from listening.session.state import State

ON_A_PAGE = 8  # sounds besides the reference; a trial with more of them makes its page as long
NAMED = "training "


def pages(plan: Plan, slot: int, attribute: str, trials: Iterable[PlannedTrial]) -> list[PlannedTrial]:
    """The sounds of an attribute's trials, each once, a few on a page; nothing is asked about them.

    Where the trials name a reference, it stands on each page with the sounds that are judged against it. The
    order is drawn anew for each slot, so that it tells nothing about what a sound stands for. Of several
    sessions each has its own pages, of the trials heard in it.
    """
    if not plan.sitting.training or tasks.named(plan.attribute(attribute).task).family != "rating":
        return []
    own = [t for t in trials if t.attribute == attribute and not t.practice]
    rng = random.Random(f"{plan.drawn_from} {slot} {attribute} {NAMED}")
    made: list[tuple[str, ...]] = []
    references: list[str | None] = []
    for reference in dict.fromkeys(t.reference for t in own):
        alike = [t for t in own if t.reference == reference]
        clips = list(dict.fromkeys(clip for t in alike for clip in t.clips))
        rng.shuffle(clips)
        size = max(ON_A_PAGE, *(len(t.clips) for t in alike))
        for at in range(0, len(clips), size):
            made.append(tuple(clips[at : at + size]))
            references.append(reference)
    session = own[0].session if own else 1
    when = f" of session {session}" if session > 1 else ""
    return [
        PlannedTrial(
            trial=f"{NAMED}{attribute} {i + 1}{when}",
            session=session,
            attribute=attribute,
            clips=clips,
            practice=True,
            reference=ref,
        )
        for i, (clips, ref) in enumerate(zip(made, references, strict=True))
    ]


def place(state: "State") -> tuple[int, int]:
    """Which page this one is, and of how many."""
    every = pages(state.plan, state.slot, state.step.attribute, state.trials)
    return every.index(state.trial) + 1, len(every)
