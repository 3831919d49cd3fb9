"""The order of a slot: attributes by a Williams square, trials shuffled without immediate repeats."""

from itertools import pairwise

import numpy as np

from listening.design import williams
from listening.design.trial import Trial

ATTEMPTS = (
    200  # shuffles tried before a rest of immediate repeats is accepted; the balance report counts them
)


def attributes(names: list[str], slot: int, shift: int) -> list[str]:
    """The attributes in the order in which one slot meets them."""
    square = williams.square(len(names))
    return [names[i] for i in square[(slot + shift) % len(square)]]


def shuffled(pairs: list[Trial], rng: np.random.Generator) -> list[Trial]:
    """The trials in random order, with no two neighbours of the same group and few that share a stimulus."""
    best, fewest = pairs, np.inf
    for _ in range(ATTEMPTS):
        order = _spread([pairs[i] for i in rng.permutation(len(pairs))])
        cost = sum(_clash(a, b) for a, b in pairwise(order))
        if cost < fewest:
            best, fewest = order, cost
        if fewest == 0:
            break
    return best


def mixed(blocked: list[list[tuple[bool, Trial]]], rng: np.random.Generator) -> list[tuple[bool, Trial]]:
    """All practice first, attribute by attribute; then the trials of all attributes in one random order."""
    practice = [row for block in blocked for row in block if row[0]]
    counted = [trial for block in blocked for is_practice, trial in block if not is_practice]
    return practice + [(False, trial) for trial in shuffled(counted, rng)]


def _spread(pairs: list[Trial]) -> list[Trial]:
    """Take, each time, the first waiting trial that does not clash with the one before."""
    waiting = list(pairs)
    order: list[Trial] = []
    while waiting:
        free = (i for i, p in enumerate(waiting) if not order or _clash(order[-1], p) == 0)
        order.append(waiting.pop(next(free, 0)))
    return order


def _clash(one: Trial, other: Trial) -> float:
    """0: neighbours may stand together; 1: they share a stimulus; 10: they repeat the same pair."""
    if one.group == other.group and not one.is_control:
        return 10.0
    sounds = {sound.stimulus for sound in one.sounds}
    return 1.0 if sounds & {sound.stimulus for sound in other.sounds} else 0.0
