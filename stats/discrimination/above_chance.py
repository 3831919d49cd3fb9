"""Were two things told apart? Answers with a right one, listeners and stimuli both taken as samples.

The share heard is the mean of the listeners' own, each weighing the same however many trials they had, and
its error is that of the same mean: `stats.deciding.direct_share`.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import ArrayLike

from stats.deciding import direct_share, own_shares, strike_variance
from stats.deciding.direct_share import DirectShare
from stats.deciding.own_shares import OwnShares
from stats.discrimination.critical_counts import chance_of_at_least
from stats.errors import BadData, StatsError
from stats.fixed.likelihood import FloatArray, IntArray, as_floats

EXACT, SAMPLED = "exact counts", "listeners and recordings as samples"


@dataclass(frozen=True)
class ToldApart:
    """How often a difference was heard beyond guessing; `bounds` gives its limits at an alpha."""

    heard: float
    """Mean over listeners of the share of trials heard, not guessed: (right - guess) / (1 - guess);
    same-different: share called different of pairs that differ, minus that of pairs that are alike. Below 0
    by chance only."""
    p: float
    """One-sided, against guessing: the larger of the exact test's and the sampled mean's."""
    p_exact: float
    se: float
    df: float
    spread_listeners: float
    """Standard deviation of the listeners' own shares heard, what their answers' chance adds taken off."""
    spread_stimuli: float | None
    """Of one stimulus about its kind; None where each kind has one."""
    n_right: int
    """Right answers; same-different: pairs that differ and were called different."""
    n_asked: int
    """Trials; same-different: pairs that differ."""
    n_listeners: int
    own: FloatArray
    """(listeners,) share heard of each listener's own trials, by level number."""
    guess: float | None
    """Share right by guessing; None for same-different."""
    mean: DirectShare
    """Share right; same-different: (heard + 1) / 2."""
    n_false: int = 0
    """Same-different: pairs that are alike and were called different."""
    n_alike: int = 0


@dataclass(frozen=True)
class Bounds:
    """One-sided bounds of the share heard, each at 1 - alpha."""

    lower: float
    upper: float
    by: str


def forced_choice(
    right: ArrayLike, listener: IntArray, stimuli: Sequence[IntArray], *, guess: float
) -> ToldApart:
    """Triangle, duo-trio, 2-AFC: the share of trials heard.

    Parameters
    ----------
    right : (n,) 1 where the answer was right
    listener : (n,) numbers from 0
    stimuli : for each kind, (n,) the number of its stimulus in each trial
    guess : share right by guessing: 1/3 triangle, 1/2 duo-trio and 2-AFC

    Raises
    ------
    StatsError, BadData
        A number is out of range, or there are fewer than two listeners.

    Source: exact test as in ISO 4120 and ISO 10399. Under guessing the answers of one listener do not hang
    together, so it holds for repeated trials as well: Kunert & Meyners 1999, Food Qual. Prefer. 10.
    """
    y = as_floats(right)
    _check(y, listener)
    if not 0 < guess < 1:
        raise StatsError(f"told apart: guessing rate {guess:g}, wanted between 0 and 1")
    who = _numbered(listener)
    own = own_shares.estimate(y, who, None)
    mean = _mean(own, y, who, stimuli, n_answers=y.size)
    n_right, n = int(y.sum()), y.size
    p_exact = chance_of_at_least(n_right, n, guess)
    scale = 1 / (1 - guess)
    chance = own.share * (1 - own.share) / np.maximum(np.bincount(who) - 1, 1)
    return ToldApart(
        heard=(mean.share - guess) * scale,
        p=max(p_exact, direct_share.p_above(mean, guess)),
        p_exact=p_exact,
        se=mean.se * scale,
        df=mean.df,
        spread_listeners=scale * _spread(own, chance),
        spread_stimuli=_spread_of_stimuli(mean, scale),
        n_right=n_right,
        n_asked=n,
        n_listeners=mean.listeners,
        own=(own.share - guess) * scale,
        guess=guess,
        mean=mean,
    )


def same_different(
    different: ArrayLike, is_different: ArrayLike, listener: IntArray, stimuli: Sequence[IntArray]
) -> ToldApart:
    """Same-different: hits minus false alarms of each listener, with an exact test by listener.

    Parameters
    ----------
    different : (n,) 1 where the answer was `different`
    is_different : (n,) 1 where the pair did differ
    stimuli : for each kind, (n,) the number of its stimulus; any number where the pair does not hold it

    Raises
    ------
    StatsError, BadData
        As `forced_choice`; or every pair was alike, or none was; or a listener met one kind of pair only.

    Source: the exact test is that of several 2 x 2 tables, all margins given: Cox & Snell 1989, Analysis of
    Binary Data, 2nd ed., section 2.2.
    """
    y, d = as_floats(different), as_floats(is_different)
    _check(y, listener)
    if d.shape != y.shape or d.min() == d.max():
        raise BadData("told apart: pairs that differ and pairs that are alike are both needed")
    who = _numbered(listener)
    hits, of_hits = _own(y, d == 1, who)
    falses, of_falses = _own(y, d == 0, who)
    own_heard = hits - falses
    half = (own_heard + 1) / 2  # a share from 0 to 1
    own = OwnShares(half, half - half.mean(), None, 0.0)
    apart = d == 1
    mean = _mean(own, y[apart], who[apart], [one[apart] for one in stimuli], n_answers=y.size, scale=0.5)
    p_exact = by_listener(y, d, who)
    chance = hits * (1 - hits) / np.maximum(of_hits - 1, 1) + falses * (1 - falses) / np.maximum(
        of_falses - 1, 1
    )
    return ToldApart(
        heard=2 * mean.share - 1,
        p=max(p_exact, direct_share.p_above(mean, 0.5)),
        p_exact=p_exact,
        se=2 * mean.se,
        df=mean.df,
        spread_listeners=2 * _spread(own, chance / 4),
        spread_stimuli=_spread_of_stimuli(mean, 2.0),
        n_right=int(y[apart].sum()),
        n_asked=int(d.sum()),
        n_listeners=mean.listeners,
        own=own_heard,
        guess=None,
        mean=mean,
        n_false=int(y[~apart].sum()),
        n_alike=int((1 - d).sum()),
    )


def bounds(found: ToldApart, alpha: float) -> Bounds:
    """One-sided bounds of the share heard at 1 - alpha.

    Those of the mean of the listeners' own shares. Where all listeners had equally many trials of a forced
    choice, never narrower than the exact binomial ones of the counts. Where the exact test does not tell the
    answers from guessing, the lower limit is never above 0.

    Raises
    ------
    StatsError
        `alpha` is not between 0 and 0.5.

    Source: Clopper & Pearson 1934, Biometrika 26.
    """
    if not 0 < alpha < 0.5:
        raise StatsError(f"told apart: alpha {alpha:g}, wanted between 0 and 0.5")
    lower, upper = (_heard(found, limit(found.mean, alpha)) for limit in _LIMITS)
    by = SAMPLED
    if found.guess is not None and np.ptp(found.mean.own_counts[:, 1]) == 0:
        exact = [_heard(found, share) for share in _clopper_pearson(found.n_right, found.n_asked, alpha)]
        by = EXACT if exact[0] <= lower else SAMPLED
        lower, upper = min(lower, exact[0]), max(upper, exact[1])
    if found.p_exact > alpha:
        lower = min(lower, 0.0)
    return Bounds(min(lower, found.heard), max(min(1.0, upper), found.heard), by)


_LIMITS = (direct_share.lower_limit, direct_share.upper_limit)


def _heard(found: ToldApart, share: float) -> float:
    """The share heard that goes with a share right; same-different: with half of (heard + 1)."""
    return 2 * share - 1 if found.guess is None else (share - found.guess) / (1 - found.guess)


def by_listener(different: FloatArray, is_different: FloatArray, listener: IntArray) -> float:
    """Chance of as many `different` on pairs that differ if nobody hears, each listener's counts given.

    Parameters
    ----------
    different, is_different : (n,) 1 where that was answered, and where it was so; listener : (n,) numbers
    """
    chances = np.ones(1)
    found = 0
    for number in np.unique(listener):
        mine = listener == number
        n, n_said, n_differ = int(mine.sum()), int(different[mine].sum()), int(is_different[mine].sum())
        found += int((different * is_different)[mine].sum())
        chances = np.convolve(
            chances, scipy.stats.hypergeom.pmf(np.arange(n_differ + 1), n, n_differ, n_said)
        )
    return float(min(1.0, chances[found:].sum()))


def _mean(
    own: OwnShares,
    y: FloatArray,
    who: IntArray,
    stimuli: Sequence[IntArray],
    *,
    n_answers: int,
    scale: float = 1.0,
) -> DirectShare:
    """Mean of own shares; the answers, times `scale`, tell what stimuli add to its variance."""
    kinds = [_numbered(one) for one in stimuli]
    each = np.bincount(who)
    of_answers = np.bincount(who, y) / each
    residual, between = scale * (y - of_answers[who]), scale * (y - of_answers.mean())
    strikes = strike_variance.estimate(residual, between, who, kinds)
    counts = tuple(int(one.max()) + 1 for one in kinds)
    return direct_share.of_own_shares(own, strikes, n_answers, counts, answers_each=each)


def _own(y: FloatArray, kept: FloatArray, who: IntArray) -> tuple[FloatArray, FloatArray]:
    """Each listener's share of `different`, and of how many, among the pairs of one kind."""
    asked = np.bincount(who, kept).astype(float)
    if asked.min() == 0:
        raise BadData(
            f"told apart: {int((asked == 0).sum())} listeners met only pairs that differ or only alike ones; "
            "leave them out"
        )
    return np.bincount(who, y * kept) / asked, asked


def _spread(own: OwnShares, chance: FloatArray) -> float:
    return math.sqrt(max(float(own.share.var(ddof=1)) - float(chance.mean()), 0.0))


def _spread_of_stimuli(mean: DirectShare, scale: float) -> float | None:
    several = [1 / n for n in mean.strikes if n > 1]
    return scale * math.sqrt(mean.variance_strikes / sum(several)) if several else None


def _numbered(listener: IntArray) -> IntArray:
    return np.unique(listener, return_inverse=True)[1].astype(np.int64)


def _clopper_pearson(count: int, n: int, alpha: float) -> tuple[float, float]:
    lower = 0.0 if count == 0 else float(scipy.stats.beta.ppf(alpha, count, n - count + 1))
    upper = 1.0 if count == n else float(scipy.stats.beta.ppf(1 - alpha, count + 1, n - count))
    return lower, upper


def _check(y: FloatArray, listener: IntArray) -> None:
    if y.ndim != 1 or y.size == 0 or listener.shape != y.shape or not np.isin(y, (0.0, 1.0)).all():
        raise BadData(
            f"told apart: answers {y.shape}, listeners {listener.shape}; wanted 0 or 1, one a trial"
        )
    if np.unique(listener).size < 2:
        raise BadData("told apart: 1 listener; at least 2 are needed to know how listeners differ")
