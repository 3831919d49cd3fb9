"""Balanced incomplete blocks: few conditions at a time, every pair together equally often."""

from itertools import combinations
from math import comb

from listening.errors import StudyError

MOST_BLOCKS = 200  # all subsets are taken where there are no more than this

# (conditions, block size): starting blocks developed modulo the conditions. Perfect difference sets and
# families of Bose 1939 (Annals of Eugenics 9) and Fisher & Yates, Statistical Tables; from memory, each one
# checked by counting in the tests.
STARTS: dict[tuple[int, int], tuple[tuple[int, ...], ...]] = {
    (7, 3): ((0, 1, 3),),
    (7, 4): ((0, 1, 2, 4),),
    (9, 4): ((0, 1, 2, 4), (0, 3, 4, 7)),
    (11, 5): ((1, 3, 4, 5, 9),),
    (11, 6): ((0, 2, 6, 7, 8, 10),),
    (13, 3): ((0, 1, 4), (0, 2, 7)),
    (13, 4): ((0, 1, 3, 9),),
    (15, 7): ((0, 1, 2, 4, 5, 8, 10),),
    (15, 8): ((3, 6, 7, 9, 11, 12, 13, 14),),
}
# with a last condition that stays where it is: starting blocks modulo one less
FIXED_STARTS: dict[tuple[int, int], tuple[tuple[int | None, ...], ...]] = {
    (6, 3): ((0, 1, 3), (None, 0, 1)),
    (8, 4): ((0, 1, 3, None), (2, 4, 5, 6)),
    (12, 6): ((1, 3, 4, 5, 9, None), (0, 2, 6, 7, 8, 10)),
}
# the affine planes of order 3 and 4
PLANES: dict[tuple[int, int], int] = {(9, 3): 3, (16, 4): 4}


def blocks(k: int, size: int) -> list[tuple[int, ...]]:
    """Blocks of `size` out of k conditions in which every pair stands together equally often.

    Raises
    ------
    StudyError
        No such design is known here with at most 200 blocks; sizes that are known are named.
    """
    if size == k:
        return [tuple(range(k))]
    if (k, size) in PLANES:
        return _plane(PLANES[k, size])
    if (k, size) in STARTS:
        return [tuple(sorted((x + i) % k for x in start)) for start in STARTS[k, size] for i in range(k)]
    if (k, size) in FIXED_STARTS:
        return [_moved(start, i, k) for start in FIXED_STARTS[k, size] for i in range(k - 1)]
    if 2 <= size < k and comb(k, size) <= MOST_BLOCKS:
        return list(combinations(range(k), size))
    raise StudyError(
        f"block_size {size} for {k} conditions: no balanced set of at most {MOST_BLOCKS} blocks is known "
        f'here; take one of {", ".join(map(str, sizes(k)))}, or pairs = "rotating"'
    )


def sizes(k: int) -> list[int]:
    """The block sizes that `blocks` knows for k conditions."""
    named = {s for n, s in (*STARTS, *FIXED_STARTS, *PLANES) if n == k}
    return sorted(named | {s for s in range(2, k) if comb(k, s) <= MOST_BLOCKS})


def _moved(start: tuple[int | None, ...], i: int, k: int) -> tuple[int, ...]:
    return tuple(sorted(k - 1 if x is None else (x + i) % (k - 1) for x in start))


def _plane(order: int) -> list[tuple[int, ...]]:
    """Lines of the affine plane of order 3 or 4, points numbered row by row."""
    add, times = _field(order)
    rows = range(order)
    upright = [tuple(x * order + y for y in rows) for x in rows]
    sloped = [tuple(x * order + add(times(m, x), c) for x in rows) for m in rows for c in rows]
    return upright + sloped


def _field(order: int):  # type: ignore[no-untyped-def]
    """Addition and multiplication of the field with 3 or 4 elements."""
    if order == 3:
        return (lambda a, b: (a + b) % 3), (lambda a, b: a * b % 3)
    products = ((0, 0, 0, 0), (0, 1, 2, 3), (0, 2, 3, 1), (0, 3, 1, 2))
    return (lambda a, b: a ^ b), (lambda a, b: products[a][b])
