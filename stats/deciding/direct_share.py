"""The share of choices of one sound over another in direct comparisons; listeners and strikes are samples.

The estimand: the share of choices of `more` over `than` when the two are compared directly, averaged over the
population of listeners, each weighing the same, and over that of strikes. Nothing is supposed about how the
listeners' own shares are spread.
"""

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from stats.deciding import own_shares, strike_variance
from stats.deciding.own_shares import OwnShares
from stats.deciding.strike_variance import StrikeVariance
from stats.errors import BadData, StatsError

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

METHOD = (
    "mean of the listeners' own shares; listeners and strikes as samples, each with its own Student's t, "
    "weighed by variance, with the skewness of the listeners' shares; never beyond the exact limit of "
    "listeners who always choose one of the two"
)
ONE_ORDER = "one of the two was heard first in every trial: what the order does cannot be told from the share"
NO_STRIKES = "strikes are not named: the share is of the recordings heard, not of the sounds they stand for"
ONE_STRIKE = "one strike on a side: there the share is of the recording, not of the sound it stands for"
TIE = 0.5
FEW_FOR_SKEWNESS = 8.0  # listeners with whom a skewness (variance about 6 / n) is believed by half
NO_SPREAD = 1e-20  # mean square of own shares about their mean below which they are all alike
# Shares lie between 0 and 1, so strikes far apart have lighter tails than normal ones, and few of them make
# Student's t err: with two that are uniform pi / 2 times as often as it says.
STRIKES_PART = 0.9  # of alpha, at which the strikes' own t is taken
# Strikes of one side alone, or of both that always went together: nothing evens out their shape. Three
# of them 1.4 logit apart err in 6.0 of 100 at 0.9, in 5.5 at 0.75 (10,000 and 6,000 studies).
ONE_PART = 0.75
_HALVINGS = 60  # of the interval in which a p-value is looked for
LOPSIDED = 0.1  # share of answers by which one order outweighs the other before it is told


@dataclass(frozen=True)
class DirectShare:
    """A share of choices with what its limits are made of; `lower_limit` and others take any alpha."""

    share: float
    """Mean over listeners of their own share of choices of `more`, 0 to 1."""
    lower: float
    upper: float
    """One-sided limits, each at 1 - alpha."""
    alpha: float
    se: float
    df: float
    """Those of the one Student's t that has the same limits at alpha; never above listeners - 1."""
    listeners: int
    chosen: float
    """Times `more` was chosen; a tie counts half."""
    of: int
    listener: NDArray[Any]
    """(listeners,) the numbers given, in order; the arrays below go by it."""
    own: FloatArray
    """Own share of each, at even orders."""
    own_influence: FloatArray
    """What each adds to the share, about zero: own share less the mean, and its part in the order's pull."""
    own_counts: IntArray
    """(listeners, 2) answers of each with `more` heard first, and second (or the order unknown)."""
    own_chosen: FloatArray
    """Times each chose `more`; a tie counts half."""
    ties: int
    """Answers of no difference."""
    strikes: tuple[int, ...]
    """Strikes of `more` and of `than` that were met; empty where they are not named."""
    variance_listeners: float
    """Of the share, from listeners and their answers."""
    df_listeners: float
    variance_strikes: float
    """Of the share, from strikes of either side."""
    df_strikes: float
    strikes_part: float
    """Part of alpha at which the strikes' own t is taken."""
    third_moment: float
    """Third central moment of the share, from listeners; drawn towards 0 where they are few."""
    order: float | None
    """How much more often `more` is chosen when heard first, halved; None with one order only."""
    method: str
    warnings: tuple[str, ...]
    level_part: float = 0.0
    """What was taken off the share as level's part; below 0 where it was added."""


def estimate(
    chosen: ArrayLike,
    listener: ArrayLike,
    *,
    strike_more: ArrayLike | None = None,
    strike_than: ArrayLike | None = None,
    more_first: ArrayLike | None = None,
    alpha: float = 0.05,
) -> DirectShare:
    """Share of choices of `more` over `than`, with one-sided limits at 1 - alpha.

    Parameters
    ----------
    chosen : (n,) 1 where `more` was chosen, 0 where `than` was, 0.5 for no difference
    listener : (n,) numbers or names; each that occurs is a listener who met the pair
    strike_more, strike_than : (n,) numbers or names; without them strikes are not taken as a sample
    more_first : (n,) 1 where `more` was heard first, 0 where second; without it order is not taken off

    Raises
    ------
    BadData
        Shapes differ, an answer is none of 0, 0.5, 1, or fewer than two listeners answered.
    StatsError
        alpha is not between 0 and 0.5.

    Source: means over two crossed samples, Clark 1973, J. Verbal Learn. Verbal Behav. 12; critical value of
    a sum of variances, Cochran 1964, Biometrics 20; skewness by Hall 1992, J. R. Statist. Soc. B 54; products
    over different listeners who met one strike as in Cameron, Gelbach & Miller 2011, J. Bus. Econ. Stat. 29.
    """
    y, names, who = _checked(chosen, listener, alpha)
    order = None if more_first is None else _order(more_first, y.size)
    own = own_shares.estimate(y, who, order)
    sides = [
        np.unique(_same_length(one, y.size, "strikes"), return_inverse=True)[1].astype(np.int64)
        for one in (strike_more, strike_than)
        if one is not None
    ]
    pulled = 0.0 if own.pull is None or order is None else own.pull * order
    residual, between = y - own.share[who] - pulled, y - own.share.mean() - pulled
    strikes = strike_variance.estimate(residual, between, who, sides)
    counts = tuple(int(one.max()) + 1 for one in sides)
    found = of_own_shares(own, strikes, y.size, counts)
    first = np.bincount(who, np.zeros(y.size) if order is None else (order > 0).astype(float)).astype(
        np.int64
    )
    counted = replace(
        found,
        strikes_part=part_of_alpha(len(strikes.variance)),
        chosen=float(y.sum()),
        listener=names,
        own_counts=np.column_stack([first, np.bincount(who) - first]),
        own_chosen=np.bincount(who, weights=y).astype(float),
        ties=int((y == TIE).sum()),
    )
    return at(counted, alpha)


def at(found: DirectShare, alpha: float) -> DirectShare:
    """The same share with its limits at another alpha."""
    return replace(
        found,
        lower=lower_limit(found, alpha),
        upper=upper_limit(found, alpha),
        df=_df_at(found, alpha),
        alpha=alpha,
    )


def lower_limit(found: DirectShare, alpha: float) -> float:
    """One-sided lower limit of the share at 1 - alpha."""
    _check_alpha(alpha)
    exact = _exact_limit(found, _always(found, 1.0), alpha) - found.level_part
    return max(0.0, _limit(found, found.share, found.third_moment, exact, alpha))


def upper_limit(found: DirectShare, alpha: float) -> float:
    """One-sided upper limit of the share at 1 - alpha."""
    _check_alpha(alpha)
    exact = _exact_limit(found, _always(found, 0.0), alpha) + found.level_part
    return 1.0 - max(0.0, _limit(found, 1.0 - found.share, -found.third_moment, exact, alpha))


def p_above(found: DirectShare, null: float) -> float:
    """One-sided p-value against a share of `null` or less; below alpha where `lower_limit` is above."""
    exact = _exact_p(found, _always(found, 1.0), null + found.level_part)
    return _p(found, found.share, found.third_moment, null, exact)


def p_below(found: DirectShare, null: float) -> float:
    """One-sided p-value against a share of `null` or more; below alpha where `upper_limit` is below."""
    exact = _exact_p(found, _always(found, 0.0), 1.0 - null - found.level_part)
    return _p(found, 1.0 - found.share, -found.third_moment, 1.0 - null, exact)


def of_own_shares(
    own: OwnShares,
    strikes: StrikeVariance,
    n_answers: int,
    counts: tuple[int, ...],
    *,
    answers_each: IntArray | None = None,
) -> DirectShare:
    """The mean of own shares, whatever they are of; limits at an alpha by `at`, counts left out.

    Parameters
    ----------
    n_answers : behind all own shares together
    counts : strikes of each side
    answers_each : (listeners,)
    """
    n = own.share.size
    share = float(np.clip(own.share.mean(), 0.0, 1.0))
    squares = float((own.influence**2).sum())
    from_listeners = squares / (n * (n - 1))
    if squares < NO_SPREAD * n:  # every own share alike: as if the answers were independent
        from_listeners = share * (1 - share) / n_answers
    return DirectShare(
        share=share,
        lower=0.0,
        upper=1.0,
        alpha=0.0,
        se=math.sqrt(from_listeners + strikes.total),
        df=n - 1.0,
        listeners=n,
        chosen=0.0,
        of=n_answers,
        listener=np.zeros(0),
        own=own.share,
        own_influence=own.influence,
        own_counts=np.zeros((0, 2), dtype=np.int64)
        if answers_each is None
        else np.column_stack([np.zeros_like(answers_each), answers_each]),
        own_chosen=np.zeros(0),
        ties=0,
        strikes=counts,
        variance_listeners=from_listeners,
        df_listeners=n - 1.0,
        variance_strikes=strikes.total,
        df_strikes=strikes.joint_df,
        strikes_part=STRIKES_PART,
        third_moment=third_moment_of(own.influence),
        order=own.pull,
        method=METHOD,
        warnings=_warnings(own, counts),
    )


def _limit(found: DirectShare, share: float, third_moment: float, exact: float, alpha: float) -> float:
    """Lower limit of a share; of 1 - share for the upper one."""
    if found.se == 0.0:
        return min(share, exact)
    t = _critical(found, alpha)
    return min(share - found.se * max(_unskewed(t, third_moment / found.se**3), 0.0), exact, share)


def _p(found: DirectShare, share: float, third_moment: float, null: float, exact: float) -> float:
    if found.se == 0.0:
        return 1.0 if share <= null else exact
    t = _skewed((share - null) / found.se, third_moment / found.se**3)
    return max(_chance_above(found, t), exact)


def part_of_alpha(parts: int) -> float:
    """The part of alpha at which the strikes' own t is taken, by the independent parts of their variance."""
    return ONE_PART if parts == 1 else STRIKES_PART


def critical_value(
    variance_listeners: FloatArray | float,
    df_listeners: float,
    variance_strikes: FloatArray | float,
    df_strikes: FloatArray | float,
    alpha: float,
    *,
    strikes_part: float = STRIKES_PART,
) -> Any:
    """Student's t of listeners and of strikes, weighed by their variances; an array where one is given.

    One t with pooled degrees of freedom trusts strikes too much: where their variance comes out small by
    chance its few degrees of freedom go under too.

    Parameters
    ----------
    variance_listeners, variance_strikes : their parts of the estimate's variance, 0 or more
    df_listeners, df_strikes : degrees of freedom of each
    alpha : one-sided error probability, above 0, below 0.5
    strikes_part : share of `alpha` at which the strikes' own t stands

    Source: Cochran 1964, Biometrics 20.
    """
    t_listeners = special.stdtrit(df_listeners, 1 - alpha)
    df = np.minimum(df_strikes, df_listeners)
    t_strikes = special.stdtrit(df, 1 - strikes_part * alpha)
    total = variance_listeners + variance_strikes
    return (variance_listeners * t_listeners + variance_strikes * t_strikes) / total


def _critical(found: DirectShare, alpha: float) -> float:
    if found.variance_strikes == 0.0:
        return float(special.stdtrit(found.df_listeners, 1 - alpha))
    listeners = (found.variance_listeners, found.df_listeners)
    strikes = (found.variance_strikes, found.df_strikes)
    return float(critical_value(*listeners, *strikes, alpha, strikes_part=found.strikes_part))


def _chance_above(found: DirectShare, t: float) -> float:
    """The alpha whose critical value is t."""
    if found.variance_strikes == 0.0:
        return float(special.stdtr(found.df_listeners, -t))
    low, high = 0.0, 0.5
    far = abs(t)
    for _ in range(_HALVINGS):  # of a chance: by halves, the same on every processor
        middle = (low + high) / 2
        low, high = (middle, high) if _critical(found, middle) > far else (low, middle)
    return high if t >= 0 else 1.0 - high


def _df_at(found: DirectShare, alpha: float) -> float:
    """Degrees of freedom of the one Student's t with this critical value."""
    if found.se == 0.0 or found.variance_strikes == 0.0:
        return found.df_listeners
    return min(float(special.stdtridf(1 - alpha, _critical(found, alpha))), found.df_listeners)


def _always(found: DirectShare, own: float) -> int:
    """Listeners who always choose one of the two; all of them unless every listener is of one mind.

    Of all populations with one mean share, the one in which each listener always chooses the same spreads a
    panel's mean most; there the panel is a binomial count of listeners.
    """
    of_one_mind = ((found.own == 0.0) | (found.own == 1.0)).all()
    return int((found.own == own).sum()) if of_one_mind else found.listeners


def _exact_p(found: DirectShare, always: int, share: float) -> float:
    """Chance of so many listeners who always choose it, where it has this share."""
    share = float(np.clip(share, 0.0, 1.0))
    return float(special.betainc(always, found.listeners - always + 1, share)) if always else 1.0


def _exact_limit(found: DirectShare, always: int, alpha: float) -> float:
    """The share that leaves so many listeners a chance of alpha (Clopper & Pearson 1934, Biometrika 26)."""
    return float(special.betaincinv(always, found.listeners - always + 1, alpha)) if always else 0.0


def _skewed(t: float, skewness: float) -> float:
    """Hall's transformation: Student's t of a skewed mean made symmetric; monotone."""
    return t + skewness * t**2 / 3 + skewness**2 * t**3 / 27 + skewness / 6


def _unskewed(x: float, skewness: float) -> float:
    """The t that Hall's transformation takes to x."""
    if abs(skewness) < 1e-6:
        return x
    return 3 / skewness * (math.cbrt(1 + skewness * (x - skewness / 6)) - 1)


def third_moment_of(influence: FloatArray) -> float:
    """Of the mean, drawn towards 0 as far as few listeners leave it uncertain; 0 for fewer than three."""
    n = influence.size
    if n < 3:
        return 0.0
    return float((influence**3).sum()) / (n * (n - 1) * (n - 2)) * n / (n + FEW_FOR_SKEWNESS)


def _warnings(own: OwnShares, counts: tuple[int, ...]) -> tuple[str, ...]:
    told = []
    if own.pull is None and abs(own.lopsided) > LOPSIDED:
        told.append(ONE_ORDER)
    if not counts:
        told.append(NO_STRIKES)
    elif min(counts) < 2:
        told.append(ONE_STRIKE)
    return tuple(told)


def _checked(
    chosen: ArrayLike, listener: ArrayLike, alpha: float
) -> tuple[FloatArray, NDArray[Any], IntArray]:
    _check_alpha(alpha)
    y = np.asarray(chosen, dtype=float)
    numbers = np.asarray(listener)
    if y.ndim != 1 or numbers.shape != y.shape:
        raise BadData(f"direct share: answers {y.shape}, listeners {numbers.shape}; wanted one listener each")
    if not np.isin(y, (0.0, TIE, 1.0)).all():
        raise BadData("direct share: wanted answers of 1 (chosen), 0 (not chosen) or 0.5 (no difference)")
    known, who = np.unique(numbers, return_inverse=True)
    if known.size < 2:
        raise BadData(f"direct share: {known.size} listeners met the pair; at least 2 are needed")
    return y, known, who.astype(np.int64)


def _order(more_first: ArrayLike, n: int) -> FloatArray:
    found = 2.0 * _same_length(more_first, n, "orders").astype(float) - 1.0
    if not (np.abs(found) == 1.0).all():
        raise BadData("direct share: wanted orders of 1 (heard first) or 0 (heard second)")
    return found


def _same_length(values: ArrayLike, n: int, what: str) -> NDArray[Any]:
    found = np.asarray(values)
    if found.shape != (n,):
        raise BadData(f"direct share: {what} {found.shape}, answers ({n},); wanted one each")
    return found


def _check_alpha(alpha: float) -> None:
    if not 0 < alpha < 0.5:
        raise StatsError(f"direct share: alpha {alpha:g}, wanted between 0 and 0.5")
