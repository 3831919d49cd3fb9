"""Each listener's own share of choices, with what the order of the two sounds does taken off."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

FEWEST_FOR_ORDER = 3.0  # listeners who met both orders, as many as equally informed ones would count for


@dataclass(frozen=True)
class OwnShares:
    """Listeners' own shares; their plain mean is the panel's."""

    share: FloatArray
    """(listeners,) at even orders; an adjusted one may lie a little outside 0 to 1."""
    influence: FloatArray
    """(listeners,) what each adds to the mean, the estimate of the order's pull included, about zero."""
    pull: float | None
    """Half the difference of the share between heard first and heard second; None if it cannot be had."""
    lopsided: float
    """Mean over listeners of (`more` heard first - second) / answers: 0 balanced, 1 always first."""


def estimate(chosen: FloatArray, listener: IntArray, order: FloatArray | None) -> OwnShares:
    """Own shares, at even orders where both orders were heard.

    Parameters
    ----------
    chosen : (n,) 0 to 1
    listener : (n,) numbers from 0 without gaps
    order : (n,) 1 where `more` was heard first, -1 where second; None if unknown
    """
    each = np.bincount(listener).astype(float)
    mean = np.bincount(listener, chosen) / each
    if order is None:
        return OwnShares(mean, mean - mean.mean(), None, 0.0)
    lean = np.bincount(listener, order) / each
    lopsided = float(lean.mean())
    about = order - lean[listener]
    own_squares = np.bincount(listener, about**2)
    squares = float(own_squares.sum())
    if squares == 0 or squares**2 < FEWEST_FOR_ORDER * float((own_squares**2).sum()):
        return OwnShares(mean, mean - mean.mean(), None, lopsided)
    own_products = np.bincount(listener, about * chosen)
    pull = float(own_products.sum()) / squares
    share = mean - pull * lean
    on_pull = (own_products - pull * own_squares) * each.size / squares
    return OwnShares(share, share - share.mean() - lopsided * on_pull, pull, lopsided)
