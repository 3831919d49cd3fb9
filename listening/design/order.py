"""The order of a slot: attributes by a Williams square, trials shuffled without immediate repeats."""

from itertools import pairwise

import numpy as np

from listening.design import williams
from listening.design.trials import Pair

ATTEMPTS = (
    200  # shuffles tried before a rest of immediate repeats is accepted; the balance report counts them
)


def attributes(names: list[str], slot: int, shift: int) -> list[str]:
    """The attributes in the order in which one slot meets them."""
    square = williams.square(len(names))
    return [names[i] for i in square[(slot + shift) % len(square)]]


def shuffled(pairs: list[Pair], rng: np.random.Generator) -> list[Pair]:
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


def _spread(pairs: list[Pair]) -> list[Pair]:
    """Take, each time, the first waiting trial that does not clash with the one before."""
    waiting = list(pairs)
    order: list[Pair] = []
    while waiting:
        free = (i for i, p in enumerate(waiting) if not order or _clash(order[-1], p) == 0)
        order.append(waiting.pop(next(free, 0)))
    return order


def _clash(one: Pair, other: Pair) -> float:
    """0: neighbours may stand together; 1: they share a stimulus; 10: they repeat the same pair."""
    if one.group == other.group and not one.is_control:
        return 10.0
    sounds = {one.first.stimulus, one.second.stimulus}
    return 1.0 if sounds & {other.first.stimulus, other.second.stimulus} else 0.0
