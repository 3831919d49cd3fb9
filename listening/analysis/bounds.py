"""One-sided bounds and tails of the planned contrast: Student's t, or the likelihood where t cannot serve."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from listening.analysis.contrast import CONTRAST, ContrastFit
from stats import logistic_mixed, t_interval

T, PROFILE = "t", "likelihood profile"
OUTWARD_LOGIT = (0.0, 10.0, 20.0)  # beyond a separated estimate, where the likelihood no longer rises


@dataclass(frozen=True)
class Bounds:
    """Each bound one-sided at 1 - alpha; infinite where the data give none."""

    lower: float
    upper: float
    by: str

    def moved(self, step: float) -> "Bounds":
        """The same bounds, all shifted by `step`."""
        return Bounds(self.lower + step, self.upper + step, self.by)


def bounds(fit: ContrastFit, alpha: float) -> Bounds:
    """Lower and upper bound of the contrast, each one-sided at 1 - alpha.

    Where all answers agree the estimate is infinite: the likelihood bounds it on the near side alone. Where
    some listeners never waver, the likelihood gives both bounds.
    """
    if not fit.by_profile:
        return Bounds(*t_interval.of(fit.estimate, fit.se, fit.df, 1 - 2 * alpha), T)
    lower, upper = -math.inf, math.inf
    if fit.estimate > 0 or not fit.separated:
        lower = min(_profile(fit, alpha, "lower"), fit.estimate)
    if fit.estimate <= 0 or not fit.separated:
        upper = max(_profile(fit, alpha, "upper"), fit.estimate)
    return Bounds(lower, upper, PROFILE)


def tails(fit: ContrastFit, nulls: Sequence[float], *, side: Literal["above", "below"]) -> list[float]:
    """One-sided p-values of a contrast above (or below) each of `nulls`."""
    sign = 1.0 if side == "above" else -1.0
    if not fit.by_profile:
        return [t_interval.upper_tail(sign * (fit.estimate - null) / fit.se, fit.df) for null in nulls]
    outward = math.copysign(1.0, fit.estimate)
    top = max(_loglik(fit, fit.estimate + outward * far) for far in OUTWARD_LOGIT)
    drops = [max(top - _loglik(fit, null), 0.0) for null in nulls]
    roots = [
        math.copysign(math.sqrt(2 * drop), sign * (fit.estimate - null))
        for drop, null in zip(drops, nulls, strict=True)
    ]
    return [t_interval.upper_tail(root, fit.df) for root in roots]


def _profile(fit: ContrastFit, alpha: float, side: Literal["lower", "upper"]) -> float:
    made = fit.design
    return logistic_mixed.profile_bound(
        made.chosen,
        made.fixed,
        made.terms,
        column=made.names.index(CONTRAST),
        level=1 - alpha,
        side=side,
        df=fit.df,
        offset=fit.offset,
    )


def _loglik(fit: ContrastFit, value: float) -> float:
    """Log-likelihood with the contrast held at `value` and everything else free."""
    made = fit.design
    at = made.names.index(CONTRAST)
    others = np.delete(made.fixed, at, axis=1)
    offset = fit.offset + value * made.fixed[:, at]
    return logistic_mixed.fit(made.chosen, others, made.terms, offset=offset).loglik
