"""The order of a slot: attributes by a Williams square, trials shuffled without immediate repeats."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from listening.design import williams
from listening.design.dealt_trial import Trial

ATTEMPTS = 200  # shuffles tried before a rest of clashes is accepted; the balance report counts them
LOOKED_AT = 100  # waiting trials among which the one that evens carry-over out is taken

Ordered = list[tuple[bool, Trial]]  # (is practice, trial), as heard


class CarryOver:
    """How often each condition sounded right after each other one, over the slots ordered so far."""

    def __init__(self, condition: Mapping[str, str]) -> None:
        self.condition = condition
        self.counts: Counter[tuple[str, str]] = Counter()

    def note(self, order: list[Trial]) -> None:
        """Count the steps of a finished order."""
        self.counts.update((self.last(a), self.first(b)) for a, b in pairwise(order))

    def first(self, trial: Trial) -> str:
        """The condition that a trial begins with."""
        return self.condition[trial.sounds[0].stimulus]

    def last(self, trial: Trial) -> str:
        """The condition that a trial ends with."""
        return self.condition[trial.sounds[-1].stimulus]


def attributes(names: list[str], slot: int, shift: int) -> list[str]:
    """The attributes in the order in which one slot meets them."""
    square = williams.square(len(names))
    return [names[i] for i in square[(slot + shift) % len(square)]]


def shuffled(trials: list[Trial], rng: np.random.Generator, carry: CarryOver | None = None) -> list[Trial]:
    """The trials in random order, with no two neighbours of the same group and few that share a stimulus.

    With `carry`, steps between conditions that came least often so far are preferred, and counted.
    """
    near = _Neighbours.of(trials, carry)
    best, fewest = list(range(len(trials))), np.inf
    for _ in range(ATTEMPTS):
        order = _spread([int(i) for i in rng.permutation(len(trials))], near, carry)
        cost = sum(near.cost(a, b) for a, b in pairwise(order))
        if cost < fewest:
            best, fewest = order, cost
        if fewest == 0:
            break
    made = [trials[i] for i in best]
    if carry is not None:
        carry.note(made)
    return made


def by_williams(trials: list[Trial], square: npt.NDArray[np.int64], slot: int) -> list[Trial]:
    """Trials of single sounds in the order of a Williams square's rows, one row for each round of repeats.

    Over as many rounds as the square has rows, every group follows every other one equally often within a
    round. Where one round would begin as the last one ended, its row is taken backwards.
    """
    groups: dict[str, list[Trial]] = {}
    for trial in trials:
        groups.setdefault(trial.group, []).append(trial)
    names = sorted(groups)
    rounds = max(len(repeats) for repeats in groups.values())
    order: list[Trial] = []
    for number in range(rounds):
        row = [names[i] for i in square[(slot * rounds + number) % len(square)]]
        made = [groups[name][number] for name in row if number < len(groups[name])]
        if order and made and order[-1].group == made[0].group:
            made.reverse()
        order += made
    return order


@dataclass(frozen=True)
class _Neighbours:
    """What makes two trials clash, worked out once: a list each, by the trial's number."""

    stimuli: list[int]
    """The stimuli heard, a bit each."""
    group: list[str]
    repeats: list[str]
    """The group that may not follow; empty after a control pair."""
    first: list[str]
    last: list[str]

    @classmethod
    def of(cls, trials: list[Trial], carry: CarryOver | None) -> "_Neighbours":
        bit: dict[str, int] = {}
        for trial in trials:
            for sound in trial.sounds:
                bit.setdefault(sound.stimulus, 1 << len(bit))
        return cls(
            stimuli=[sum({bit[sound.stimulus] for sound in trial.sounds}) for trial in trials],
            group=[trial.group for trial in trials],
            repeats=["" if trial.is_control else trial.group for trial in trials],
            first=[carry.first(trial) for trial in trials] if carry else [],
            last=[carry.last(trial) for trial in trials] if carry else [],
        )

    def cost(self, one: int, other: int) -> float:
        """0: they may stand together; 1: they share a stimulus; 10: they repeat the same pair."""
        if self.repeats[one] == self.group[other]:
            return 10.0
        return 1.0 if self.stimuli[one] & self.stimuli[other] else 0.0


def _spread(waiting: list[int], near: _Neighbours, carry: CarryOver | None) -> list[int]:
    """Take, each time, a waiting trial that does not clash with the one before: the first, or the best."""
    order, waiting = waiting[:1], waiting[1:]
    while waiting:
        last = order[-1]
        heard, repeated = near.stimuli[last], near.repeats[last]
        free = [
            place
            for place, i in enumerate(waiting)
            if not near.stimuli[i] & heard and near.group[i] != repeated
        ]
        if carry is not None and free:
            counts, before, first = carry.counts, near.last[last], near.first
            seen = [counts[before, first[waiting[place]]] for place in free[:LOOKED_AT]]
            free = [free[seen.index(min(seen))]]
        order.append(waiting.pop(free[0] if free else 0))
    return order
