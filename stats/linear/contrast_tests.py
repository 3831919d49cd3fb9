"""Tests of contrasts with their own degrees of freedom: what every method of them hands back."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import scipy
from numpy.typing import ArrayLike

from stats.errors import BadData
from stats.fixed import frames
from stats.fixed.likelihood import FloatArray, as_floats

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class ContrastTests:
    """t-tests of k contrasts."""

    estimate: FloatArray
    se: FloatArray
    df: FloatArray
    t: FloatArray
    p: FloatArray
    """Two-sided, each on its own."""
    lower: FloatArray
    upper: FloatArray
    level: float
    covariance: FloatArray
    """(k, k) of the contrasts."""
    method: str

    @classmethod
    def of(
        cls, estimate: FloatArray, covariance: FloatArray, df: FloatArray, level: float, method: str
    ) -> "ContrastTests":
        """t-tests and intervals of contrasts.

        Parameters
        ----------
        estimate : (k,) contrasts
        covariance : (k, k)
        df : (k,) degrees of freedom
        level : confidence of the interval, above 0, below 1
        method : of the degrees of freedom

        Raises
        ------
        BadData
            `level` is not between 0 and 1.
        """
        if not 0 < level < 1:
            raise BadData(f"interval level {level:g}, wanted between 0 and 1")
        se = np.sqrt(np.diag(covariance))
        t = estimate / se
        reach = scipy.stats.t.ppf(0.5 + level / 2, df) * se
        p = np.asarray(2 * scipy.stats.t.sf(np.abs(t), df))
        return cls(estimate, se, df, t, p, estimate - reach, estimate + reach, level, covariance, method)

    def table(self, names: Sequence[str]) -> "pd.DataFrame":
        """One row a contrast."""
        columns = ("estimate", "se", "df", "t", "p", "lower", "upper")
        return frames.frame({one: getattr(self, one) for one in columns}, names)


@dataclass(frozen=True)
class FTest:
    """Joint test that several contrasts are zero."""

    statistic: float
    df_numerator: int
    df_denominator: float
    p: float
    method: str

    @classmethod
    def of(cls, statistic: float, df_numerator: int, df_denominator: float, method: str) -> "FTest":
        """The test of an F statistic.

        Parameters
        ----------
        statistic : F
        df_numerator, df_denominator : degrees of freedom
        method : of the degrees of freedom
        """
        p = float(scipy.stats.f.sf(statistic, df_numerator, df_denominator))
        return cls(statistic, df_numerator, df_denominator, p, method)


def check_contrasts(contrasts: ArrayLike | None, names: Sequence[str]) -> FloatArray:
    """(k, p) contrasts; the identity where none are given.

    Raises
    ------
    BadData
        The number of columns is not the number of estimates, or a row is all zero.
    """
    if contrasts is None:
        return np.eye(len(names))
    rows = np.atleast_2d(as_floats(contrasts))
    if rows.ndim != 2 or rows.shape[1] != len(names) or not np.isfinite(rows).all():
        raise BadData(f"contrasts have shape {rows.shape}, wanted finite numbers and {len(names)} columns")
    if (rows == 0).all(axis=1).any():
        raise BadData("a contrast is zero everywhere, so it says nothing")
    return rows
