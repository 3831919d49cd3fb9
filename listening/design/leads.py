"""Which sound of a pair comes first: even within a listener, and even for each pair over the listeners."""

from collections import deque
from collections.abc import Sequence


def choose(
    pairs: Sequence[tuple[int, int]], start: Sequence[bool], fixed: Sequence[bool], k: int
) -> list[bool]:
    """For each pair, whether its first-named condition leads, so that every condition leads half the time.

    Pairs that are `fixed` keep their start. Among all choices for the others the sum over conditions of
    (times first - times second)^2 is the smallest there is.

    Parameters
    ----------
    pairs : (i, j), conditions from 0 to k - 1
    start : what to begin from, True where i leads
    """
    leads = list(start)
    surplus = [0] * k  # times first minus times second
    for (i, j), lead in zip(pairs, leads, strict=True):
        surplus[i if lead else j] += 1
        surplus[j if lead else i] -= 1
    free = [n for n in range(len(pairs)) if not fixed[n]]
    while turned := _path(pairs, leads, free, surplus):
        for n in turned:
            leads[n] = not leads[n]
        begin, end = _ends(pairs, leads, turned)
        surplus[end] += 2
        surplus[begin] -= 2
    return leads


def _path(
    pairs: Sequence[tuple[int, int]], leads: list[bool], free: list[int], surplus: list[int]
) -> list[int]:
    """Pairs to turn round, from a condition that leads too often to one that leads at least 4 less."""
    onward: dict[int, list[tuple[int, int]]] = {}
    for n in free:
        i, j = pairs[n] if leads[n] else pairs[n][::-1]
        onward.setdefault(i, []).append((j, n))
    for begin in sorted(range(len(surplus)), key=lambda c: -surplus[c]):
        found = _walk(begin, onward, surplus)
        if found:
            return found
    return []


def _walk(begin: int, onward: dict[int, list[tuple[int, int]]], surplus: list[int]) -> list[int]:
    came: dict[int, tuple[int, int]] = {begin: (begin, -1)}
    waiting = deque([begin])
    while waiting:
        here = waiting.popleft()
        if surplus[begin] - surplus[here] > 2:
            steps = []
            while here != begin:
                here, n = came[here]
                steps.append(n)
            return steps[::-1]
        for there, n in onward.get(here, []):
            if there not in came:
                came[there] = (here, n)
                waiting.append(there)
    return []


def _ends(pairs: Sequence[tuple[int, int]], leads: list[bool], turned: list[int]) -> tuple[int, int]:
    """(where the path began, where it ended), read after turning it round."""
    first, last = turned[0], turned[-1]
    begin = pairs[first][1] if leads[first] else pairs[first][0]
    end = pairs[last][0] if leads[last] else pairs[last][1]
    return begin, end
