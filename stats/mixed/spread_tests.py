"""Whether effects vary at all: likelihood-ratio tests on the boundary where a standard deviation is zero."""

from dataclasses import dataclass
from math import comb

import numpy as np

from stats.errors import BadData
from stats.fixed import tail_areas

_SLACK = 1e-4  # a larger model may come out this much lower by rounding of two optimisations


@dataclass(frozen=True)
class SpreadTest:
    """Likelihood-ratio statistic with a mixture of chi-squares as its null distribution."""

    statistic: float
    p: float
    weights: tuple[float, ...]
    """Share of each chi-square in the mixture, from 0 degrees of freedom on."""


def independent(small_loglik: float, large_loglik: float, n: int) -> SpreadTest:
    """Test that `n` independent standard deviations are all zero.

    The null distribution is taken as sum_k C(n, k) 2^-n chi-square_k, right for separate effects with
    uncorrelated information. Source: Self & Liang 1987, JASA 82; Stram & Lee 1994, Biometrics 50.

    Parameters
    ----------
    small_loglik : of the model without them
    large_loglik : of the model with them

    Raises
    ------
    BadData
        `n` is below 1.
    """
    if n < 1:
        raise BadData(f"{n} standard deviations: wanted 1 or more")
    return _test(small_loglik, large_loglik, tuple(comb(n, k) / 2.0**n for k in range(n + 1)))


def one_more_correlated(small_loglik: float, large_loglik: float, k: int) -> SpreadTest:
    """Test that a further effect, correlated with `k` that vary already, does not vary itself.

    Half chi-square_k, half chi-square_(k+1). Source: Stram & Lee 1994, Biometrics 50, case 3.

    Parameters
    ----------
    small_loglik : of the model without them
    large_loglik : of the model with them

    Raises
    ------
    BadData
        `k` is below 0.
    """
    if k < 0:
        raise BadData(f"{k} effects that vary already: wanted 0 or more")
    return _test(small_loglik, large_loglik, (*([0.0] * k), 0.5, 0.5))


def correlations(small_loglik: float, large_loglik: float, k: int) -> SpreadTest:
    """Test that `k` effects that vary are uncorrelated: chi-square with k (k - 1) / 2 degrees of freedom.

    Parameters
    ----------
    small_loglik : of the model without them
    large_loglik : of the model with them

    Raises
    ------
    BadData
        `k` is below 2.
    """
    if k < 2:
        raise BadData(f"{k} effects: wanted 2 or more")
    return _test(small_loglik, large_loglik, (*([0.0] * (k * (k - 1) // 2)), 1.0))


def _test(small_loglik: float, large_loglik: float, weights: tuple[float, ...]) -> SpreadTest:
    if large_loglik < small_loglik - _SLACK:
        raise BadData(
            f"the larger model's log-likelihood {large_loglik:.6f} is below the smaller one's "
            f"{small_loglik:.6f}: they do not contain each other, or one fit failed"
        )
    statistic = max(0.0, 2.0 * (large_loglik - small_loglik))
    tails = [
        1.0 if k == 0 and statistic == 0.0 else tail_areas.chi_square_above(statistic, k) if k else 0.0
        for k in range(len(weights))
    ]
    return SpreadTest(statistic, float(np.dot(weights, tails)), weights)
