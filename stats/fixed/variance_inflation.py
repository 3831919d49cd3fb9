"""How far columns that go together swell the variance of their slopes."""

import numpy as np

from stats.fixed.likelihood import FloatArray, as_floats

LARGE = 5.0  # a slope's variance is five times what it would be alone: a cause can hardly be read from it


def of_correlation(correlation: FloatArray) -> FloatArray:
    """(k,) variance inflation of each slope, from the (k, k) correlation of the columns.

    1 where a column goes with no other; infinite when one column is a sum of others.

    Source: Marquardt 1970, Technometrics 12(3).
    """
    if not len(correlation):
        return np.ones(0)
    if np.linalg.matrix_rank(correlation, tol=1e-8) < len(correlation):
        return np.full(len(correlation), np.inf)
    return as_floats(np.diag(np.linalg.inv(correlation)))


def of_columns(columns: FloatArray) -> FloatArray:
    """(k,) the same from (n, k) columns, each about its mean."""
    return of_correlation(np.atleast_2d(np.corrcoef(columns, rowvar=False)))
