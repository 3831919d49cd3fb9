"""What strikes add to the variance of a share, from answers of different listeners to one strike."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

LEAST_WITHIN = 0.1  # of a fully crossed design's information; below it strikes are compared between listeners
MOST_SHARED = 0.5  # of the information of one side that is the other's too; above it both have one variance
_MOST_CELLS = 4_000_000  # of listeners x strikes x strikes; beyond, sides count as crossed


@dataclass(frozen=True)
class StrikeVariance:
    """Variance that strikes add to the mean share, a part for each side."""

    variance: tuple[float, ...]
    df: tuple[float, ...]
    """Of each part: strikes - 1 where all are met alike, less where some are met more."""

    @property
    def total(self) -> float:
        """Variance from all sides together."""
        return float(sum(self.variance))

    @property
    def joint_df(self) -> float:
        """Degrees of freedom of the total, by Satterthwaite 1946, Biometrics Bull. 2."""
        if self.total == 0.0:
            return min(self.df, default=1.0)
        return float(self.total**2 / sum(v**2 / d for v, d in zip(self.variance, self.df, strict=True)))


@dataclass(frozen=True)
class _Side:
    """One side's strikes, with everything summed by listener and strike."""

    weight: FloatArray
    """(listeners, strikes) weight of the answers in the mean share; sums to 1."""
    product: float
    """Sum over strikes of products of listeners' weighted residuals, less `noise_taken_off` of own ones."""
    information: float
    """What multiplies a strike's variance in the product's expectation."""
    df: float


def estimate(
    residual: FloatArray, between: FloatArray, listener: IntArray, strikes: Sequence[IntArray]
) -> StrikeVariance:
    """Variance of the mean share that comes from strikes as a sample, for each side with several.

    Products of different listeners' residuals at one strike hold its effect and no noise of either, whatever
    else a listener's answers share. Each listener's own products hold noise too; `noise_taken_off` says how
    much of them is left out. Then each part is cut at zero.

    Parameters
    ----------
    residual : (n,) answers about the listener's own share
    between : (n,) answers about the mean share: used where a listener met too few strikes to compare them
    listener : (n,) numbers from 0 without gaps
    strikes : for each side (n,) numbers from 0 without gaps

    Source: products within one cluster of one of several crossed samples: Cameron, Gelbach & Miller 2011, J.
    Bus. Econ. Stat. 29; moments as Henderson 1953, Biometrics 9.
    """
    several = [one for one in strikes if one.max(initial=0) > 0]
    weight = 1.0 / (np.bincount(listener)[listener] * (listener.max() + 1.0))
    sides = [_side(residual, between, weight, listener, one) for one in several]
    if len(sides) == 2:
        return _both(sides, _shared(weight, listener, several))
    parts = [max(_ratio(one.product, one.information), 0.0) * _squares(one) for one in sides]
    return StrikeVariance(tuple(parts), tuple(one.df for one in sides))


def noise_taken_off(df: float) -> float:
    """Share of the listeners' noise that is taken off the spread of strikes: none with two, half with three.

    A part that is zero by chance is what makes limits too narrow, and few strikes are often alike by chance.
    Measured: with all of it taken off one-sided 5 % come to 7.1 % with three strikes, to 9.0 % with two.
    """
    return 1.0 - 1.0 / max(df, 1.0)


def _both(sides: Sequence[_Side], shared: float) -> StrikeVariance:
    """Two sides whose strikes went together as far as `shared` says."""
    first, second = sides
    own = first.information * second.information
    df = (first.df, second.df)
    if own <= 0 or shared**2 > MOST_SHARED**2 * own:
        total = first.information + second.information + 2 * shared
        one = max(_ratio(first.product + second.product, total), 0.0)
        together = min(df)
        return StrikeVariance((one * (_squares(first) + _squares(second)),), (together,))
    left = own - shared**2
    of_first = (second.information * first.product - shared * second.product) / left
    of_second = (first.information * second.product - shared * first.product) / left
    variance = (max(of_first, 0.0) * _squares(first), max(of_second, 0.0) * _squares(second))
    return StrikeVariance(variance, df)


def _side(
    residual: FloatArray, between: FloatArray, weight: FloatArray, listener: IntArray, strike: IntArray
) -> _Side:
    n, k = int(listener.max()) + 1, int(strike.max()) + 1
    cell = listener * k + strike
    w: FloatArray = np.bincount(cell, weight, n * k).astype(float).reshape(n, k)
    met = w.sum(axis=0)
    crossed = float((met**2).sum()) * (1 - 1 / k)
    transfer = np.diag(met) - n * w.T @ w
    # || diag(w) - n w w' ||^2, listener by listener
    squares = w**2
    each = float(squares.sum() - 2 * n * (w**3).sum() + n**2 * (squares.sum(axis=1) ** 2).sum())
    used = residual
    if float((transfer**2).sum()) - each < LEAST_WITHIN * crossed:
        used = between
        transfer = np.diag(met) - np.outer(met, met)
        each = float((squares * (1 - 2 * met + (met**2).sum())).sum())
    of_all = float((transfer**2).sum())
    kernel = transfer @ transfer.T
    spread = float((kernel**2).sum())
    df = float(np.trace(kernel) ** 2 / spread) if spread > 0 else 1.0
    if of_all - each < 1e-3 * crossed:  # no strike was met by two listeners: nothing is shared
        return _Side(w, 0.0, 0.0, df)
    sums = np.bincount(cell, weight * used, n * k).reshape(n, k)
    off = noise_taken_off(df)
    product = float((sums.sum(axis=0) ** 2).sum() - off * (sums**2).sum())
    return _Side(w, product, of_all - off * each, df)


def _shared(weight: FloatArray, listener: IntArray, strikes: Sequence[IntArray]) -> float:
    """How far one side's products hold the other side's variance, in the unit of its information."""
    n = int(listener.max()) + 1
    a, b = (int(one.max()) + 1 for one in strikes)
    if n * a * b > _MOST_CELLS:
        return 0.0
    cell = (listener * a + strikes[0]) * b + strikes[1]
    joint = np.bincount(cell, weight, n * a * b).reshape(n, a, b)
    centred = joint - n * joint.sum(axis=2)[:, :, None] * joint.sum(axis=1)[:, None, :]
    return float(max((centred.sum(axis=0) ** 2).sum() - (centred**2).sum(), 0.0))


def _squares(side: _Side) -> float:
    """Sum of squares of the strikes' weights in the mean share."""
    return float((side.weight.sum(axis=0) ** 2).sum())


def _ratio(product: float, information: float) -> float:
    return product / information if information > 0 else 0.0
