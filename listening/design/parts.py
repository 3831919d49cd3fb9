"""Which pairs of conditions each slot compares, when a block does not give every pair to everybody."""

from itertools import combinations
from math import gcd

import numpy as np

from listening.design import cyclic, decompositions, incomplete_blocks
from listening.design.decompositions import Pairs
from listening.errors import StudyError


def all_pairs(k: int, rng: np.random.Generator) -> Pairs:
    """Every pair, under shuffled names."""
    names = rng.permutation(k)
    return [_named(pair, names) for pair in decompositions.every(k)]


def rotating(k: int, partners: int, n_slots: int, rng: np.random.Generator) -> list[Pairs]:
    """A part of all pairs for each slot: connected, every condition with `partners` others.

    After any number of slots every pair has been dealt equally often within one.

    Raises
    ------
    StudyError
        No such part exists.
    """
    _check_partners(k, partners)
    units = decompositions.cycles(k) if k % 2 else decompositions.rounds(k)
    names = rng.permutation(k)
    start = int(rng.integers(len(units)))
    a_slot = _units_a_slot(k, partners)
    made = []
    for slot in range(n_slots):
        dealt = [units[(start + slot * a_slot + i) % len(units)] for i in range(a_slot)]
        made.append([_named(pair, names) for unit in dealt for pair in unit])
    return made


def period(k: int, partners: int) -> int:
    """After how many slots `rotating` gives the same part again."""
    n_units = (k - 1) // 2 if k % 2 else k - 1
    return n_units // gcd(n_units, _units_a_slot(k, partners))


def same_for_all(k: int, partners: int, rng: np.random.Generator) -> Pairs:
    """The cyclic part with the highest efficiency, under shuffled names."""
    _check_partners(k, partners)
    names = rng.permutation(k)
    return [_named(p, names) for p in decompositions.differences(k, cyclic.best_steps(k, partners))]


def of_blocks(k: int, size: int, n_slots: int, rng: np.random.Generator) -> list[Pairs]:
    """For each slot all pairs of one block; after all blocks every pair was dealt equally often."""
    known = incomplete_blocks.blocks(k, size)
    names = rng.permutation(k)
    turn = rng.permutation(len(known))
    return [
        [_named(pair, names) for pair in combinations(known[turn[slot % len(known)]], 2)]
        for slot in range(n_slots)
    ]


def _units_a_slot(k: int, partners: int) -> int:
    """A ring gives every condition two partners, a round one."""
    return partners // 2 if k % 2 else partners


def _check_partners(k: int, partners: int) -> None:
    if not 2 <= partners <= k - 1 or (k % 2 and partners % 2):
        wanted = [p for p in range(2, k) if k % 2 == 0 or p % 2 == 0]
        raise StudyError(
            f"partners = {partners} for {k} conditions: wanted one of {', '.join(map(str, wanted))} "
            '(an odd number of conditions needs an even number of partners), or pairs = "all"'
        )


def _named(pair: tuple[int, int], names: np.ndarray) -> tuple[int, int]:
    return int(names[pair[0]]), int(names[pair[1]])
