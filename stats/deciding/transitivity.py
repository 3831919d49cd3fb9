"""Do indirect comparisons agree with the direct ones? A description beside the verdict; it never decides.

If b beats a directly as often as what both do against third sounds says, one scale holds them all. Marginal
log-odds of each pair are put on one scale by least squares without the direct pair; what the direct pair
says beyond that is held against its jackknife error over listeners.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True)
class Transitivity:
    """The direct pair beside what all other pairs say of it, in log-odds of the share over listeners."""

    direct: float
    indirect: float
    se: float
    """Of their difference."""
    df: float
    p: float
    """Two-sided, against direct and indirect being one."""


def test(
    listener: IntArray, first: IntArray, second: IntArray, chosen: FloatArray, pair: tuple[int, int]
) -> Transitivity | None:
    """Direct against indirect comparison of a pair; None where no chain of other pairs joins the two.

    Parameters
    ----------
    listener, first, second : (n,) numbers from 0; first and second are different sounds
    chosen : (n,) 1 the first, 0 the second, 0.5 no difference
    pair : the two, the one whose share is asked first

    Source: a closed chain of paired comparisons, Kendall & Babington Smith 1940, Biometrika 31; jackknife,
    Efron & Stein 1981, Ann. Statist. 9.
    """
    low, high = np.minimum(first, second), np.maximum(first, second)
    of_low = np.where(first == low, chosen, 1 - chosen)
    k = int(high.max()) + 1
    kinds, column = np.unique(low * k + high, return_inverse=True)
    direct = np.flatnonzero(kinds == min(pair) * k + max(pair))
    weights = _weights(kinds // k, kinds % k, k, pair, direct)
    n = int(listener.max()) + 1
    if weights is None or n < 3:
        return None
    cell = listener * kinds.size + column
    answers = np.bincount(cell, minlength=n * kinds.size).reshape(n, kinds.size)
    own = np.bincount(cell, of_low, n * kinds.size).reshape(n, kinds.size) / np.maximum(answers, 1)
    met = answers > 0
    sums, counts = own.sum(axis=0), met.sum(axis=0)
    sign = 1.0 if pair[0] < pair[1] else -1.0

    def both(total: FloatArray, number: FloatArray) -> tuple[FloatArray, FloatArray]:
        logits = special.logit((total + 0.5) / (number + 1.0))  # half an answer more of each: finite
        return sign * logits[..., direct[0]], logits @ weights

    at, indirect = both(sums, counts)
    without = both(sums - own * met, counts - met)
    left = without[0] - without[1]
    se = float(np.sqrt((n - 1) / n * ((left - left.mean()) ** 2).sum()))
    if se == 0.0:
        return None
    t = float(at - indirect) / se
    return Transitivity(float(at), float(indirect), se, n - 1.0, float(2 * special.stdtr(n - 1.0, -abs(t))))


def _weights(
    low: IntArray, high: IntArray, k: int, pair: tuple[int, int], direct: IntArray
) -> FloatArray | None:
    """(pairs,) weights that make the indirect difference of the pair from the other pairs' log-odds."""
    if direct.size == 0:
        return None
    others = np.arange(low.size) != direct[0]
    incidence = np.zeros((low.size, k))
    incidence[np.arange(low.size), low] = 1.0
    incidence[np.arange(low.size), high] = -1.0
    incidence[~others] = 0.0
    wanted = np.zeros(k)
    wanted[pair[0]], wanted[pair[1]] = 1.0, -1.0
    found = np.linalg.lstsq(incidence.T, wanted, rcond=None)[0]
    if np.abs(incidence.T @ found - wanted).max() > 1e-8:
        return None
    return np.asarray(found)
