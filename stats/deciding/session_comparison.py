"""Whether listeners answer differently from session to session; it explains, and decides nothing."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import special

from stats import t_interval
from stats.errors import BadData

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class SessionComparison:
    """Means of each session over listeners, and what lies between the first and the last."""

    means: tuple[float, ...]
    lowers: tuple[float, ...]
    uppers: tuple[float, ...]
    n: tuple[int, ...]
    """Listeners of each session."""
    difference: float
    """Last session less the first."""
    lower: float
    upper: float
    coverage: float
    """Of all limits, two-sided, Student’s t over listeners."""
    p: float | None
    """Whether the sessions are alike, two-sided; None where listeners do not differ at all."""
    method: Literal["within listeners", "between listeners"]


def within(own: FloatArray, *, coverage: float = 0.95) -> SessionComparison:
    """Sessions that every listener came to.

    The test of all sessions together is Hotelling’s T squared of the steps from each session to the next;
    with two sessions it is the paired t test.

    Parameters
    ----------
    own : (listeners, sessions) each listener’s mean in each session

    Raises
    ------
    BadData
        Fewer than two sessions, or not more listeners than sessions.

    Source: Hotelling 1931, Annals of Mathematical Statistics 2(3).
    """
    n, k = own.shape
    if k < 2 or n <= k:
        raise BadData(f"{n} listeners in {k} sessions: wanted two sessions or more, and more listeners")
    steps = np.diff(own, axis=1)
    lasts = own[:, -1] - own[:, 0]
    lower, upper = _limits(lasts, coverage)
    each = _Each.of([own[:, s] for s in range(k)], coverage)
    return SessionComparison(
        each.means,
        each.lowers,
        each.uppers,
        each.n,
        difference=float(lasts.mean()),
        lower=lower,
        upper=upper,
        coverage=coverage,
        p=_hotelling(steps),
        method="within listeners",
    )


def between(own: Sequence[FloatArray], *, coverage: float = 0.95) -> SessionComparison:
    """The first and the last session, of other listeners each (Welch).

    Parameters
    ----------
    own : for each session, the means of the listeners who met it then

    Raises
    ------
    BadData
        Fewer than two sessions, or fewer than two listeners in one.

    Source: Welch 1947, Biometrika 34.
    """
    if len(own) < 2 or min(one.size for one in own) < 2:
        raise BadData(f"{[one.size for one in own]} listeners by session: wanted two or more in each of two")
    first, last = own[0], own[-1]
    parts = [float(one.var(ddof=1)) / one.size for one in (first, last)]
    difference, se = float(last.mean() - first.mean()), math.sqrt(sum(parts))
    if se == 0.0:
        lower = upper = difference
        p = None
    else:
        df = sum(parts) ** 2 / sum(
            part**2 / (one.size - 1) for part, one in zip(parts, (first, last), strict=True)
        )
        lower, upper = t_interval.of(difference, se, df, coverage)
        p = 2 * t_interval.upper_tail(abs(difference) / se, df)
    each = _Each.of(own, coverage)
    return SessionComparison(
        each.means,
        each.lowers,
        each.uppers,
        each.n,
        difference=difference,
        lower=lower,
        upper=upper,
        coverage=coverage,
        p=p,
        method="between listeners",
    )


@dataclass(frozen=True)
class _Each:
    """Every session by itself."""

    means: tuple[float, ...]
    lowers: tuple[float, ...]
    uppers: tuple[float, ...]
    n: tuple[int, ...]

    @classmethod
    def of(cls, own: Sequence[FloatArray], coverage: float) -> "_Each":
        limits = [_limits(one, coverage) for one in own]
        return cls(
            tuple(float(one.mean()) for one in own),
            tuple(lower for lower, _ in limits),
            tuple(upper for _, upper in limits),
            tuple(one.size for one in own),
        )


def _limits(own: FloatArray, coverage: float) -> tuple[float, float]:
    se = float(own.std(ddof=1)) / math.sqrt(own.size)
    return t_interval.of(float(own.mean()), se, own.size - 1, coverage)


def _hotelling(steps: FloatArray) -> float | None:
    n, m = steps.shape
    covariance = np.atleast_2d(np.cov(steps, rowvar=False))
    scale = float(np.abs(covariance).max())
    if scale == 0.0 or np.linalg.matrix_rank(covariance) < m:
        return None
    mean = steps.mean(axis=0)
    squared = n * float(mean @ np.linalg.solve(covariance, mean))
    return float(special.fdtrc(m, n - m, squared * (n - m) / (m * (n - 1))))
