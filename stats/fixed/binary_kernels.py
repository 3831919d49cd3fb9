"""The logit likelihood of many rows as a compiled loop; `binary` calls it where compiling pays."""

import numpy as np
from numba import njit

from stats.fixed.likelihood import FloatArray


@njit(cache=True)
def logit_rows(
    won: FloatArray, lost: FloatArray, eta: FloatArray
) -> tuple[float, FloatArray, FloatArray, FloatArray]:
    n = eta.size
    d1, d2, d3 = np.empty(n), np.empty(n), np.empty(n)
    value, product = 0.0, 1.0
    for i in range(n):
        small = np.exp(-abs(eta[i]))
        p_less = small / (1.0 + small)
        total = won[i] + lost[i]
        # one logarithm for many rows: log(1 + small) is summed as the log of a product
        if total == 1.0:
            product *= 1.0 + small
            if product > 1e200:
                value -= np.log(product)
                product = 1.0
        else:
            value -= total * np.log1p(small)
        # won - total p, written so that nothing cancels when one side is certain
        if eta[i] > 0.0:
            p = 1.0 - p_less
            value -= lost[i] * eta[i]
            d1[i] = won[i] * p_less - lost[i] * p
        else:
            p = p_less
            value += won[i] * eta[i]
            d1[i] = won[i] * (1.0 - p_less) - lost[i] * p
        spread = total * p_less * (1.0 - p_less)
        d2[i] = -spread
        d3[i] = -spread * (1.0 - 2.0 * p)
    return value - np.log(product), d1, d2, d3
