"""Do listeners agree with themselves, with each other, with the panel?"""

import math
from dataclasses import dataclass
from functools import cache
from itertools import combinations

import numpy as np
import scipy
from numpy.typing import ArrayLike

from stats.errors import BadData
from stats.fixed import tail_areas
from stats.fixed.likelihood import FloatArray, as_floats

N_EXACT = 10  # items up to which the distribution of circular triads is counted out


@dataclass(frozen=True)
class CircularTriads:
    """One listener's contradictions in a complete set of pairs: A over B, B over C, C over A."""

    n_items: int
    count: int
    most: int
    consistency: float
    """1 without contradictions, 0 with as many as there can be (zeta)."""
    p: float
    """Chance of so few or fewer when every answer is a coin toss."""
    exact: bool


@dataclass(frozen=True)
class Agreement:
    """Agreement of a panel as one number, with a test against none."""

    coefficient: float
    statistic: float
    df: float
    p: float
    n_listeners: int
    n_items: int


@dataclass(frozen=True)
class Intraclass:
    """Agreement of raters on a continuous scale, items and raters both sampled (two-way random effects)."""

    single: float
    """ICC(2,1): of one rater's score."""
    single_lower: float
    single_upper: float
    average: float
    """ICC(2,k): of the mean over these k raters."""
    average_lower: float
    average_upper: float
    level: float
    n_items: int
    n_raters: int
    mean_square_items: float
    mean_square_raters: float
    mean_square_error: float


@dataclass(frozen=True)
class Retest:
    """Answers given twice."""

    n: int
    share_same: float
    kappa: float
    """Cohen's: agreement beyond chance, 1 perfect, 0 none."""
    kappa_se: float


def circular_triads(beats: ArrayLike) -> CircularTriads:
    """Circular triads of one listener.

    beats : (n, n) array of 0 and 1, n >= 3
        beats[i, j] is 1 where i was chosen over j; exactly one of beats[i, j], beats[j, i] is 1.

    Source: Kendall & Babington Smith 1940, Biometrika 31, 324-345; distribution counted out up to 10
    items, chi-square
    approximation of the same paper above.
    """
    matrix = _check_beats(beats)
    n = matrix.shape[0]
    wins = matrix.sum(axis=1)
    count = round(n * (n - 1) * (2 * n - 1) / 12 - float(wins @ wins) / 2)
    most = (n**3 - n) // 24 if n % 2 else (n**3 - 4 * n) // 24
    if n <= N_EXACT:
        chances = triad_counts(n)
        p = sum(chances[: count + 1]) / sum(chances)
    else:
        df = n * (n - 1) * (n - 2) / (n - 4) ** 2
        p = tail_areas.chi_square_above(8 / (n - 4) * (math.comb(n, 3) / 4 - count - 0.5) + df, df)
    return CircularTriads(n, count, most, 1 - count / most, p, n <= N_EXACT)


@cache
def triad_counts(n_items: int) -> tuple[int, ...]:
    """How many of the 2^(n(n-1)/2) possible sets of answers have 0, 1, 2 ... circular triads; exact.

    Items are added one by one; what matters of the earlier ones is only their sorted numbers of wins.

    Raises
    ------
    BadData
        Fewer than 3 or more than 12 items.
    """
    if not 3 <= n_items <= 12:
        raise BadData(f"{n_items} items; circular triads are counted out for 3 to 12")
    ways: dict[tuple[int, ...], int] = {(0,): 1}
    for n in range(1, n_items):
        grown: dict[tuple[int, ...], int] = {}
        for wins, count in ways.items():
            for size in range(n + 1):
                for losers_to_new in combinations(range(n), size):
                    now = [w + 1 for w in wins]
                    for item in losers_to_new:
                        now[item] -= 1
                    key = tuple(sorted([*now, size]))
                    grown[key] = grown.get(key, 0) + count
        ways = grown
    by_count: dict[int, int] = {}
    for wins, count in ways.items():
        triads = math.comb(n_items, 3) - sum(math.comb(w, 2) for w in wins)
        by_count[triads] = by_count.get(triads, 0) + count
    return tuple(by_count.get(d, 0) for d in range(max(by_count) + 1))


def pair_agreement(beats: ArrayLike) -> Agreement:
    """Kendall's u: agreement of several listeners' choices over all pairs; 1 perfect, negative at most
    discord.

    beats : (listeners, n, n) array, at least 3 listeners, each as for `circular_triads`

    Raises
    ------
    BadData
        Another shape, or fewer than 3 listeners.

    Source: Kendall & Babington Smith 1940, Biometrika 31, 324-345, with their chi-square approximation.
    """
    stack = np.asarray(beats)
    if stack.ndim != 3 or stack.shape[0] < 3:
        raise BadData(f"choices of shape {stack.shape}, wanted (listeners, n, n) with at least 3 listeners")
    total = np.sum([_check_beats(one) for one in stack], axis=0)
    m, n = stack.shape[0], stack.shape[1]
    agreements = float((total * (total - 1) / 2).sum())
    pairs, couples = math.comb(n, 2), math.comb(m, 2)
    df = pairs * m * (m - 1) / (m - 2) ** 2
    statistic = 4 / (m - 2) * (agreements - pairs * couples * (m - 3) / (2 * (m - 2)))
    return Agreement(
        2 * agreements / (pairs * couples) - 1,
        statistic,
        df,
        tail_areas.chi_square_above(statistic, df),
        m,
        n,
    )


def concordance(scores: ArrayLike) -> Agreement:
    """Kendall's W: agreement of several listeners' orders of the same items; 0 none, 1 perfect. Ties
    corrected.

    scores : (listeners, n) array, at least 2 listeners and 2 items; any scores, only their order counts

    Raises
    ------
    BadData
        Another shape, a number that is not finite, or no listener who orders anything.

    Source: Kendall & Gibbons 1990, Rank Correlation Methods, chapter 6; the statistic is Friedman's.
    """
    table = as_floats(scores)
    if table.ndim != 2 or table.shape[0] < 2 or table.shape[1] < 2 or not np.isfinite(table).all():
        raise BadData(f"scores of shape {table.shape}, wanted finite (listeners, items), at least 2 of each")
    m, n = table.shape
    ranks = scipy.stats.rankdata(table, axis=1)
    ties = 0.0
    for row in ranks:
        runs = np.unique(row, return_counts=True)[1].astype(np.float64)
        ties += float((runs**3 - runs).sum())
    spread = float(((ranks.sum(axis=0) - m * (n + 1) / 2) ** 2).sum())
    room = m**2 * (n**3 - n) - m * ties
    if room == 0:
        raise BadData("every listener gave all items the same score, so there is no order to agree on")
    w = 12 * spread / room
    statistic = m * (n - 1) * w
    return Agreement(w, statistic, n - 1, tail_areas.chi_square_above(statistic, n - 1), m, n)


def intraclass(scores: ArrayLike, *, level: float = 0.95) -> Intraclass:
    """ICC(2,1) and ICC(2,k) with intervals.

    scores : (items, raters) array, complete, at least 2 of each

    Raises
    ------
    BadData
        Another shape, a number that is not finite, or scores that are all the same.

    Source: Shrout & Fleiss 1979, Psychol. Bull. 86, 420-428; intervals by McGraw & Wong 1996, Psychol.
    Methods 1.
    """
    table = as_floats(scores)
    if table.ndim != 2 or table.shape[0] < 2 or table.shape[1] < 2 or not np.isfinite(table).all():
        raise BadData(f"scores of shape {table.shape}, wanted finite (items, raters), at least 2 of each")
    n, k = table.shape
    grand, by_item, by_rater = table.mean(), table.mean(axis=1), table.mean(axis=0)
    items = k * float(((by_item - grand) ** 2).sum()) / (n - 1)
    raters = n * float(((by_rater - grand) ** 2).sum()) / (k - 1)
    left = table - by_item[:, None] - by_rater + grand
    error = float((left**2).sum()) / ((n - 1) * (k - 1))
    below = items + (k - 1) * error + k * (raters - error) / n
    if below <= 0:
        raise BadData("all scores are the same, so there is nothing to agree on")
    single = (items - error) / below
    lower, upper = _intraclass_interval(n, k, (items, raters, error), single, level)
    return Intraclass(
        single=single,
        single_lower=lower,
        single_upper=upper,
        average=(items - error) / (items + (raters - error) / n),
        average_lower=k * lower / (1 + (k - 1) * lower),
        average_upper=k * upper / (1 + (k - 1) * upper),
        level=level,
        n_items=n,
        n_raters=k,
        mean_square_items=items,
        mean_square_raters=raters,
        mean_square_error=error,
    )


def _intraclass_interval(
    n: int, k: int, squares: tuple[float, float, float], single: float, level: float
) -> tuple[float, float]:
    items, raters, error = squares
    if error == 0 and raters == 0:
        return 1.0, 1.0
    a = k * single / (n * (1 - single))
    b = 1 + k * single * (n - 1) / (n * (1 - single))
    df = (a * raters + b * error) ** 2 / (
        (a * raters) ** 2 / (k - 1) + (b * error) ** 2 / ((n - 1) * (k - 1))
    )
    rest = k * raters + (k * n - k - n) * error
    tail = (1 - level) / 2
    low = float(scipy.stats.f.isf(tail, n - 1, df))
    high = float(scipy.stats.f.isf(tail, df, n - 1))
    return n * (items - low * error) / (low * rest + n * items), n * (high * items - error) / (
        rest + n * high * items
    )


def retest(first: ArrayLike, second: ArrayLike) -> Retest:
    """Agreement of answers with their own repetition.

    first, second : (n,) arrays of the same answers, given twice; any labels

    Raises
    ------
    BadData
        Two columns of different lengths, or nothing in them.

    Source: Cohen 1960, Educ. Psychol. Meas. 20; standard error by Fleiss, Cohen & Everitt 1969, Psychol.
    Bull. 72.
    """
    a, b = np.asarray(first), np.asarray(second)
    if a.ndim != 1 or a.shape != b.shape or a.size < 2:
        raise BadData(
            f"answers {a.shape} and their repetition {b.shape}; wanted two columns of one length, 2 or more"
        )
    from statsmodels.stats.inter_rater import cohens_kappa

    labels, codes = np.unique(np.concatenate([a, b]), return_inverse=True)
    if labels.size == 1:
        return Retest(a.size, 1.0, 1.0, 0.0)
    table = np.zeros((labels.size, labels.size))
    np.add.at(table, (codes[: a.size], codes[a.size :]), 1.0)
    found = cohens_kappa(table)
    return Retest(a.size, float((a == b).mean()), float(found.kappa), float(found.std_kappa))


def with_rest(scores: ArrayLike) -> FloatArray:
    """(listeners,) correlation of each listener's scores with the mean of the others'.

    scores : (listeners, items) array, at least 2 listeners and 3 items, no listener with the same score
    throughout

    Raises
    ------
    BadData
        Another shape, a number that is not finite, or a listener with one score throughout.
    """
    table = as_floats(scores)
    if table.ndim != 2 or table.shape[0] < 2 or table.shape[1] < 3 or not np.isfinite(table).all():
        raise BadData(f"scores of shape {table.shape}, wanted finite (listeners, items), at least 2 and 3")
    rest = (table.sum(axis=0) - table) / (table.shape[0] - 1)
    own, others = table - table.mean(axis=1, keepdims=True), rest - rest.mean(axis=1, keepdims=True)
    length = np.linalg.norm(own, axis=1) * np.linalg.norm(others, axis=1)
    if (length == 0).any():
        bad = ", ".join(map(str, np.flatnonzero(length == 0)))
        raise BadData(f"listeners {bad} (counted from 0), or the others, gave the same score throughout")
    return np.asarray((own * others).sum(axis=1) / length)


def _check_beats(beats: ArrayLike) -> FloatArray:
    matrix = as_floats(beats)
    if matrix.ndim != 2 or matrix.shape[0] != matrix.shape[1] or matrix.shape[0] < 3:
        raise BadData(f"choices of shape {matrix.shape}, wanted (n, n) with n at least 3")
    off = ~np.eye(matrix.shape[0], dtype=bool)
    if not (np.isin(matrix[off], (0.0, 1.0)).all() and ((matrix + matrix.T)[off] == 1).all()):
        raise BadData("every pair must be decided once, for one of its two items")
    return np.where(off, matrix, 0.0)
