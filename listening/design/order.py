"""The order of a slot: attributes by a Williams square, trials shuffled without immediate repeats."""

from collections import Counter
from collections.abc import Mapping
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

    def seen(self, before: Trial, after: Trial) -> int:
        """How often the last condition of one trial was followed by the first one of the other."""
        return self.counts[self._step(before, after)]

    def note(self, order: list[Trial]) -> None:
        """Count the steps of a finished order."""
        self.counts.update(self._step(a, b) for a, b in pairwise(order))

    def _step(self, before: Trial, after: Trial) -> tuple[str, str]:
        return self.condition[before.sounds[-1].stimulus], self.condition[after.sounds[0].stimulus]


def attributes(names: list[str], slot: int, shift: int) -> list[str]:
    """The attributes in the order in which one slot meets them."""
    square = williams.square(len(names))
    return [names[i] for i in square[(slot + shift) % len(square)]]


def shuffled(trials: list[Trial], rng: np.random.Generator, carry: CarryOver | None = None) -> list[Trial]:
    """The trials in random order, with no two neighbours of the same group and few that share a stimulus.

    With `carry`, steps between conditions that came least often so far are preferred, and counted.
    """
    best, fewest = trials, np.inf
    for _ in range(ATTEMPTS):
        order = _spread([trials[i] for i in rng.permutation(len(trials))], carry)
        cost = sum(_clash(a, b) for a, b in pairwise(order))
        if cost < fewest:
            best, fewest = order, cost
        if fewest == 0:
            break
    if carry is not None:
        carry.note(best)
    return best


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


def _spread(waiting: list[Trial], carry: CarryOver | None) -> list[Trial]:
    """Take, each time, a waiting trial that does not clash with the one before: the first, or the best."""
    order: list[Trial] = []
    while waiting:
        free = [i for i, trial in enumerate(waiting) if not order or _clash(order[-1], trial) == 0]
        if carry is not None and order and free:
            last = order[-1]
            free = [min(free[:LOOKED_AT], key=lambda i: carry.seen(last, waiting[i]))]
        order.append(waiting.pop(free[0] if free else 0))
    return order


def _clash(one: Trial, other: Trial) -> float:
    """0: neighbours may stand together; 1: they share a stimulus; 10: they repeat the same pair."""
    if one.group == other.group and not one.is_control:
        return 10.0
    sounds = {sound.stimulus for sound in one.sounds}
    return 1.0 if sounds & {sound.stimulus for sound in other.sounds} else 0.0
