"""The cumulative logit likelihood of many rows as compiled loops, for `cumulative`."""

import numpy as np
from numba import njit

from stats.fixed.likelihood import FloatArray


@njit(cache=True)
def logistic_interval(a: FloatArray, b: FloatArray) -> FloatArray:
    """(7, n): log P, and f, f', f'' over P at a and at b; log P is minus infinity where a <= b."""
    out = np.zeros((7, a.size))
    for i in range(a.size):
        if not a[i] > b[i]:
            out[0, i] = -np.inf
            continue
        up, down = np.exp(-abs(a[i])), np.exp(-abs(b[i]))
        below_a = 1.0 / (1.0 + up) if a[i] > 0 else up / (1.0 + up)
        below_b = 1.0 / (1.0 + down) if b[i] > 0 else down / (1.0 + down)
        # P = F(a) (1 - F(b)) (1 - exp(b - a)), in which nothing cancels
        log_p = (
            np.log(-np.expm1(b[i] - a[i])) - np.log1p(up) - np.log1p(down) + min(a[i], 0.0) - max(b[i], 0.0)
        )
        out[0, i] = log_p
        for side, x, small, below in ((1, a[i], up, below_a), (4, b[i], down, below_b)):
            if np.isinf(x):
                continue
            f = np.exp(-abs(x) - 2.0 * np.log1p(small) - log_p)
            out[side, i] = f
            out[side + 1, i] = f * (1.0 - 2.0 * below)
            out[side + 2, i] = f * (1.0 - 6.0 * below * (1.0 - below))
    return out


@njit(cache=True)
def second(
    by_a: FloatArray,
    by_b: FloatArray,
    by_ab: FloatArray,
    weight: FloatArray,
    up: FloatArray,
    down: FloatArray,
) -> FloatArray:
    """(n, k, k) second derivative in the shape parameters, from those in each row's two thresholds."""
    n, k = up.shape
    out = np.zeros((n, k, k))
    for i in range(n):
        for r in range(k):
            left = weight[i] * (by_a[i] * up[i, r] + by_ab[i] * down[i, r])
            right = weight[i] * (by_b[i] * down[i, r] + by_ab[i] * up[i, r])
            if left == 0.0 and right == 0.0:
                continue
            for c in range(k):
                out[i, r, c] = left * up[i, c] + right * down[i, c]
    return out
