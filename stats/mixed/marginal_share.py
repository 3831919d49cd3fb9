"""Shares over a panel whose members differ: the average of logits is not the logit of the average."""

import math
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy import special

from stats.errors import BadData
from stats.fixed import bracketed_root, tail_areas

FloatArray = NDArray[np.float64]

N_NODES = 61  # Gauss-Hermite: error below 1e-7 for a standard deviation up to 4 logits


def share(mean_logit: float, sd_logit: float) -> float:
    """Share of choices over listeners (or strikes) whose own log-odds are normal about a mean.

    Parameters
    ----------
    mean_logit : float, infinite allowed
    sd_logit : float, >= 0
    """
    if math.isinf(mean_logit):
        return float(mean_logit > 0)
    nodes, weights = _nodes()
    return float(special.expit(mean_logit + sd_logit * nodes) @ weights)


@cache
def _nodes() -> tuple[FloatArray, FloatArray]:
    """Places of a standard normal and their weights, summing to 1."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(N_NODES)
    return nodes, weights / weights.sum()


def mean_logit(share_chosen: float, sd_logit: float) -> float:
    """Mean log-odds that give a share of choices over listeners: the inverse of `share`.

    Raises
    ------
    BadData
        The share is not strictly between 0 and 1.
    """
    if not 0 < share_chosen < 1:
        raise BadData(f"a share of {share_chosen:g} has no log-odds; wanted a share between 0 and 1")
    middle = special.logit(share_chosen)
    reach = abs(middle) * (1 + sd_logit) + 1
    return bracketed_root.find(lambda m: share(m, sd_logit) - share_chosen, -reach, reach, tolerance=1e-12)


def share_below_zero(mean: float, sd: float) -> float:
    """Share of listeners whose own effect is below zero."""
    if sd == 0:
        return float(mean < 0)
    return float(special.ndtr(-mean / sd))


def share_outside(mean: float, sd: float, bound: float) -> float:
    """Share of listeners whose own effect lies outside +-bound.

    Parameters
    ----------
    mean, sd : of the listeners' own effects, taken as normal
    """
    if sd == 0:
        return float(abs(mean) >= bound)
    return float(special.ndtr((-bound - mean) / sd) + special.ndtr((mean - bound) / sd))


def share_outside_at_most(mean: float, sd: float, bound: float) -> float:
    """Largest share outside +-bound that any distribution of this mean and standard deviation can have.

    Parameters
    ----------
    sd : standard deviation, 0 or more

    Source: Chebyshev's inequality about zero, E[x^2] / bound^2.
    """
    return min(1.0, (sd**2 + mean**2) / bound**2)


def spread_upper(spread: float, mean_variance: float, n_listeners: int, *, alpha: float) -> float:
    """Upper (1 - alpha) limit of the standard deviation of the listeners' own effects.

    Parameters
    ----------
    spread : float, estimated standard deviation between listeners
    mean_variance : float, sampling variance of the mean effect that comes from listeners and their answers
        n times it is the variance of one listener's estimated effect: true spread plus answer noise.
    n_listeners : int, >= 2

    Raises
    ------
    BadData
        Fewer than 2 listeners.

    Notes
    -----
    The listeners' estimated effects have variance T = spread^2 + noise, and (n - 1) T / chi2 at probability
    alpha bounds T from above; the noise is then taken off again.
    """
    if n_listeners < 2:
        raise BadData(f"{n_listeners} listener(s) show no spread between listeners; wanted at least 2")
    total = max(n_listeners * mean_variance, spread**2)
    noise = total - spread**2
    upper = total * (n_listeners - 1) / tail_areas.chi_square_quantile(alpha, n_listeners - 1)
    return math.sqrt(max(upper - noise, 0.0))
