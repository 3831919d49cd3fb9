"""Whether some direction of the columns predicts every answer, so that an estimate is infinite."""

import numpy as np
import scipy

from stats.fixed.likelihood import FloatArray

_REACH = 1e-6  # smallest gain of a direction that counts


def direction(x: FloatArray, won: FloatArray, lost: FloatArray) -> FloatArray | None:
    """A direction d with x_i'd >= 0 wherever an answer was won and <= 0 wherever one was lost; else None.

    Parameters
    ----------
    x : (n, p) columns
    won, lost : (n,) counts; a row with both must have x_i'd = 0 exactly

    Moving the estimate along d never lowers the likelihood and somewhere raises it, so the maximum
    is infinite along d (complete or quasi-complete separation).

    Source: Albert & Anderson 1984, Biometrika 71(1); the linear programme is Konis 2007.
    """
    keep = (won + lost) > 0
    rows = np.column_stack([x[keep], won[keep] > 0, lost[keep] > 0])
    rows = np.unique(rows, axis=0)
    z, any_won, any_lost = rows[:, :-2], rows[:, -2] > 0, rows[:, -1] > 0
    size = np.abs(z).max(axis=0) + 1e-300
    z = z / size
    both = any_won & any_lost
    sign = np.where(any_won, 1.0, -1.0)
    one_way = sign[~both, None] * z[~both]
    if one_way.shape[0] == 0:
        return None
    found = scipy.optimize.linprog(
        -one_way.sum(axis=0),
        A_ub=-one_way,
        b_ub=np.zeros(one_way.shape[0]),
        A_eq=z[both] if both.any() else None,
        b_eq=np.zeros(int(both.sum())) if both.any() else None,
        bounds=[(-1.0, 1.0)] * z.shape[1],
        method="highs",
    )
    if found.x is None or (one_way @ found.x).max(initial=0.0) < _REACH:
        return None
    return np.asarray(found.x / size)
