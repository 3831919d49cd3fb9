"""Whether the means of several groups differ, their variances not taken as equal."""

import math
from collections.abc import Sequence

import numpy as np
from scipy import special

from stats.errors import BadData


def p_differ(groups: Sequence[Sequence[float]]) -> float:
    """P of as large a difference between the means if all were equal.

    Parameters
    ----------
    groups : two or more, each of two values or more, not all of them alike

    Raises
    ------
    BadData
        Fewer than two groups, fewer than two values in one, or a group whose values are all the same.

    Source: Welch 1951, Biometrika 38(3/4), 330-336.
    """
    values = [np.asarray(group, dtype=float) for group in groups]
    if len(values) < 2 or min(v.size for v in values) < 2:
        raise BadData(f"groups of {[v.size for v in values]}: wanted two or more, of two values or more each")
    variances = np.array([v.var(ddof=1) for v in values])
    if not (variances > 0).all():
        raise BadData("a group whose values are all the same says nothing of how they scatter")
    n, means = np.array([v.size for v in values]), np.array([v.mean() for v in values])
    weights = n / variances
    k, total = len(values), weights.sum()
    centre = (weights * means).sum() / total
    uneven = ((1 - weights / total) ** 2 / (n - 1)).sum() / (k**2 - 1)
    f = (weights * (means - centre) ** 2).sum() / (k - 1) / (1 + 2 * (k - 2) * uneven)
    p = float(special.fdtrc(k - 1, 1 / (3 * uneven), f))
    return 1.0 if math.isnan(p) else p
