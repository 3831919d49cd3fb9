"""One variance an item, so that any two items can be compared from a figure without their covariance."""

from dataclasses import dataclass

import numpy as np
import scipy

from stats.errors import BadData, NotConverged
from stats.fixed.likelihood import FloatArray, as_floats


@dataclass(frozen=True)
class QuasiVariances:
    """Variances q with q_i + q_j close to the variance of the difference of items i and j."""

    variance: FloatArray
    """(k,) one may be slightly negative."""
    worst_low: float
    """Largest relative understatement of a difference's standard error, negative."""
    worst_high: float
    """Largest relative overstatement."""

    @property
    def se(self) -> FloatArray:
        """(k,) roots of the variances; raises BadData if one is negative."""
        if (self.variance < 0).any():
            raise BadData("a quasi-variance is negative: give the standard errors of differences instead")
        return np.sqrt(self.variance)


def fit(covariance: FloatArray) -> QuasiVariances:
    """Quasi-variances of k estimates with this (k, k) covariance (zero rows for a reference are fine).

    They minimise the sum over pairs of (log of the true minus log of the approximate variance) squared. With
    3 items or more; raises BadData for fewer.

    Source: Firth & de Menezes 2004, Biometrika 91(1); Firth 2003, Sociol. Methodol. 33.
    """
    covariance = as_floats(covariance)
    k = covariance.shape[0]
    if covariance.shape != (k, k) or k < 3:
        raise BadData(f"covariance {covariance.shape}: wanted square, 3 items or more")
    low, high = np.triu_indices(k, 1)
    spread = np.diag(covariance)
    wanted = spread[low] + spread[high] - 2.0 * covariance[low, high]
    if (wanted <= 0).any():
        raise BadData("a difference has no variance: the covariance is not of k separate estimates")
    rows = np.arange(low.size)
    incidence = np.zeros((low.size, k))
    incidence[rows, low] = incidence[rows, high] = 1.0
    start = np.maximum(np.linalg.lstsq(incidence, wanted, rcond=None)[0], 0.02 * wanted.min())

    def gap(q: FloatArray) -> FloatArray:
        return np.asarray(np.log(np.maximum(q[low] + q[high], 1e-12 * wanted)) - np.log(wanted))

    def slope(q: FloatArray) -> FloatArray:
        return incidence / np.maximum(q[low] + q[high], 1e-12 * wanted)[:, None]

    found = scipy.optimize.least_squares(
        gap, start, slope, x_scale=wanted.mean(), xtol=1e-15, ftol=1e-15, gtol=1e-15
    )
    if not found.success:
        raise NotConverged(f"quasi-variances: {found.message}")
    ratio = np.sqrt((found.x[low] + found.x[high]) / wanted) - 1.0
    return QuasiVariances(found.x, float(ratio.min()), float(ratio.max()))


def comparison_interval(
    estimate: FloatArray, quasi: QuasiVariances, z: float = 1.96
) -> tuple[FloatArray, FloatArray]:
    """(k,) lower and upper ends; two estimates differ roughly where z = 1.39 intervals do not overlap.

    Parameters
    ----------
    estimate : (k,) strengths
    quasi : their quasi-variances
    """
    return estimate - z * quasi.se, estimate + z * quasi.se
