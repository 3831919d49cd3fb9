"""The cyclic part of all pairs that tells the conditions apart best for its size."""

from itertools import combinations
from math import gcd

import numpy as np

from listening.design.decompositions import Pairs, differences

SETS_TRIED = 3000  # choices of steps looked through; beyond, the first ones in order


def best_steps(k: int, partners: int) -> tuple[int, ...]:
    """The steps of the connected cyclic design with the highest efficiency; ties to the smallest steps.

    Parameters
    ----------
    k : conditions, at least 3
    partners : with how many others each condition is compared, 2 to k - 1; even when k is odd

    Source: David 1963; John, Wolock & David 1972, NBS Applied Mathematics Series 62 (same criterion).
    """
    half = (k // 2,) if partners % 2 else ()
    others = range(1, (k - 1) // 2 + 1)
    best, best_efficiency = tuple(others)[: partners // 2] + half, 0.0
    for tried, chosen in enumerate(combinations(others, partners // 2)):
        steps = chosen + half
        if tried >= SETS_TRIED:
            break
        if gcd(k, *steps) == 1 and efficiency(k, steps) > best_efficiency + 1e-12:
            best, best_efficiency = steps, efficiency(k, steps)
    return best


def efficiency(k: int, steps: tuple[int, ...]) -> float:
    """Average precision of a difference of two conditions against all pairs compared equally often, 0 to 1.

    Harmonic mean of the non-zero eigenvalues of the comparison graph, over k times the degree / (k - 1).
    """
    pairs: Pairs = differences(k, steps)
    laplacian = np.zeros((k, k))
    for i, j in pairs:
        laplacian[[i, j], [i, j]] += 1
        laplacian[[i, j], [j, i]] -= 1
    values = np.sort(np.linalg.eigvalsh(laplacian))[1:]
    if values[0] < 1e-9:
        return 0.0
    degree = 2 * len(pairs) / k
    return float((k - 1) / np.sum(1 / values) / (k * degree / (k - 1)))
