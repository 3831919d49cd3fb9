"""All pairs of k conditions cut into parts of equal size, each condition equally often in each part.

A pair (a, b) says that a may lead at its first hearing; along a ring every condition then leads once.
"""

Pairs = list[tuple[int, int]]


def rounds(k: int) -> list[Pairs]:
    """k - 1 rounds that together hold each pair once; in a round each condition stands once. k is even.

    Any two neighbouring rounds (the last and the first too) join all conditions into one ring.

    Source: the round-robin schedule of Kirkman 1847 and Lucas 1883.
    """
    if k < 2 or k % 2:
        raise ValueError(f"{k} conditions: rounds need an even number, at least 2")
    turns = k - 1
    made = []
    for r in range(turns):
        ring = [((r + i) % turns, (r - i) % turns) for i in range(1, k // 2)]
        made.append([(r, turns), *ring])
    return made


def cycles(k: int) -> list[Pairs]:
    """(k - 1) / 2 rings through all conditions that together hold each pair once. k is odd.

    Each ring lists its pairs in the order of the ring, and each pair along it.

    Source: the construction of Walecki, in Lucas 1883, Recreations mathematiques II.
    """
    if k < 3 or k % 2 == 0:
        raise ValueError(f"{k} conditions: rings need an odd number, at least 3")
    around = k - 1
    zigzag = [0] + [(i + 1) // 2 if i % 2 else around - i // 2 for i in range(1, around)]
    made = []
    for turn in range(around // 2):
        stops = [around, *((stop + turn) % around for stop in zigzag)]
        made.append(list(zip(stops, [*stops[1:], stops[0]], strict=True)))
    return made


def every(k: int) -> Pairs:
    """Every pair once, led so that each condition leads half of its pairs, within one."""
    return differences(k, tuple(range(1, k // 2 + 1)))


def differences(k: int, steps: tuple[int, ...]) -> Pairs:
    """Every pair (i, i + step mod k): the cyclic design with these steps (1 to k // 2).

    Source: David 1963, The Method of Paired Comparisons, chapter 5.
    """
    half = {(i, i + k // 2) for i in range(k // 2)} if k % 2 == 0 and k // 2 in steps else set()
    return sorted(half | {(i, (i + step) % k) for step in steps if 2 * step != k for i in range(k)})
