"""Whether "no difference" is answered as often as Davidson's model says, pair by pair."""

from dataclasses import replace

import numpy as np
from scipy.special import xlogy

from stats.errors import BadData
from stats.fixed import tail_areas
from stats.fixed.likelihood import FloatArray, as_floats
from stats.pairs import bradley_terry
from stats.pairs.bradley_terry import RatioTest, Strengths


def by_pair(found: Strengths) -> RatioTest:
    """Likelihood-ratio test that one readiness to tie holds for all pairs, against one for each pair.

    Under the larger model the share of ties of a pair is free, and the decided answers follow Bradley and
    Terry by themselves; orders of a pair count apart only where the model has an order effect.

    Raises
    ------
    BadData
        The fit is not Davidson's, or has one pair only.

    Source: Davidson 1970, JASA 65, 317-328, whose P(first | not a tie) is Bradley and Terry's.
    """
    if found.ties != "davidson":
        raise BadData("ties by pair: wanted a fit with ties by Davidson")
    decided = bradley_terry.fit(
        replace(found.data, tied=np.zeros_like(found.data.tied)), order="order" in found.names
    )
    tied, total = _of_each_pair(found)
    if total.size < 2:
        raise BadData("ties by pair: there is one pair only")
    free = decided.loglik + float((xlogy(tied, tied / total) + xlogy(total - tied, 1 - tied / total)).sum())
    statistic = max(0.0, 2.0 * (free - found.loglik))
    df = total.size - 1
    return RatioTest(statistic, df, tail_areas.chi_square_above(statistic, df))


def _of_each_pair(found: Strengths) -> tuple[FloatArray, FloatArray]:
    """Ties and answers of each pair that was heard."""
    data, k = found.data, len(found.data.items)
    first, second = data.first, data.second
    if "order" not in found.names:
        first, second = np.minimum(first, second), np.maximum(first, second)
    pair = np.unique(first * k + second, return_inverse=True)[1]
    total = as_floats(np.bincount(pair, weights=data.won + data.tied + data.lost))
    return as_floats(np.bincount(pair, weights=data.tied))[total > 0], total[total > 0]
