"""How often a rule leaves out a listener who answers with given chances: exact, by summing over all counts.

A count is held against the limit as the rule itself holds it, so that no rounding parts the two.
"""

import math
from collections import Counter
from collections.abc import Callable, Iterable

from stats.errors import StatsError


def share_below(n: int, limit: float, chance: float) -> float:
    """Chance that of n trials, each right with `chance`, a smaller share than `limit` is right."""
    return _summed(n, chance, lambda k: k / n < limit)


def share_above(n: int, limit: float, chance: float) -> float:
    """Chance that a larger share than `limit` is.

    Parameters
    ----------
    n : trials
    chance : of each, 0 to 1
    """
    return _summed(n, chance, lambda k: k / n > limit)


def one_side_above(n: int, limit: float, chance: float = 0.5) -> float:
    """Chance that one of two sides, the first given with `chance`, has a larger share than `limit`.

    Parameters
    ----------
    n : trials
    """
    return _summed(n, chance, lambda k: max(k / n, 1 - k / n) > limit)


def alike_below(repeats: Iterable[int], limit: float, chance: float) -> float:
    """Chance that of all pairs of trials on one thing a smaller share than `limit` is answered alike.

    Parameters
    ----------
    repeats : for each thing, how often it is asked; each time one answer has `chance`, else the other comes
    limit : 0 to 1

    Source: the distributions of the single things convolved; no approximation.
    """
    _check(chance)
    times = [n for n in repeats if n > 1]
    asked = sum(math.comb(n, 2) for n in times)
    if not asked:
        return 0.0
    total: dict[int, float] = {0: 1.0}
    for n, how_many in sorted(Counter(times).items()):
        alike: dict[int, float] = {}
        for k in range(n + 1):
            n_alike = math.comb(k, 2) + math.comb(n - k, 2)
            alike[n_alike] = alike.get(n_alike, 0.0) + _binomial(n, k, chance)
        for _ in range(how_many):
            total = _convolved(total, alike)
    return math.fsum(p for found, p in total.items() if found / asked < limit)


def _convolved(one: dict[int, float], other: dict[int, float]) -> dict[int, float]:
    made: dict[int, float] = {}
    for a, p in one.items():
        for b, q in other.items():
            made[a + b] = made.get(a + b, 0.0) + p * q
    return made


def _summed(n: int, chance: float, leaves_out: Callable[[int], bool]) -> float:
    _check(chance)
    return math.fsum(_binomial(n, k, chance) for k in range(n + 1) if leaves_out(k)) if n > 0 else 0.0


def _binomial(n: int, k: int, chance: float) -> float:
    return math.comb(n, k) * chance**k * (1 - chance) ** (n - k)


def _check(chance: float) -> None:
    if not 0 <= chance <= 1:
        raise StatsError(f"chance {chance:g}, wanted 0 to 1")
