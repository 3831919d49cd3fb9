"""One-sided bounds and tails of the planned contrast: Student's t, or the likelihood where t cannot serve."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from listening.analysis.decide.contrast import CONTRAST, ContrastFit
from stats import t_interval
from stats.errors import NotConverged
from stats.fixed import profile
from stats.mixed import logistic_mixed

T, PROFILE = "t", "likelihood profile"
OUTWARD_LOGIT = (
    0.0,
    2.0,
    5.0,
    10.0,
)  # beyond an estimate near separation, where the likelihood may still rise
TOLERANCE_LOGIT = 1e-6  # wherever the search begins, the limit is the same further than it is printed
FLAT = 1e-6  # of log-likelihood: a rise of less is the last bits', and picks no place

Side = Literal["above", "below"]


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

    Near separation a standard error grows without reason, so the likelihood bounds the side towards zero; the
    far side keeps the wide t bound, or has none where all answers agree. Where some listeners never waver,
    the likelihood gives both.
    """
    lower, upper = t_interval.of(fit.estimate, fit.se, fit.df, 1 - 2 * alpha)
    if not fit.by_profile:
        return Bounds(lower, upper, T)
    if fit.separated:
        lower, upper = -math.inf, math.inf
    fall = profile.drop(1 - alpha, df=fit.df)
    try:
        if fit.estimate > 0 or not fit.near_separation:
            lower = _limit(fit, fall, "lower")
        if fit.estimate <= 0 or not fit.near_separation:
            upper = _limit(fit, fall, "upper")
    except NotConverged:  # the t bounds are wider, so they stand in
        return Bounds(*t_interval.of(fit.estimate, fit.se, fit.df, 1 - 2 * alpha), T)
    return Bounds(lower, upper, PROFILE)


def tails(fit: ContrastFit, nulls: Sequence[float], *, side: Side) -> list[float]:
    """One-sided p-values of a contrast above (or below) each of `nulls`."""
    sign = 1.0 if side == "above" else -1.0
    by_t = [t_interval.upper_tail(sign * (fit.estimate - null) / fit.se, fit.df) for null in nulls]
    if not fit.by_profile:
        return by_t
    try:
        top = _top(fit)[1]
        drops = [max(top - _loglik(fit, null), 0.0) for null in nulls]
    except NotConverged:
        return by_t
    roots = [
        math.copysign(math.sqrt(2 * drop), sign * (fit.estimate - null))
        for drop, null in zip(drops, nulls, strict=True)
    ]
    return [t_interval.upper_tail(root, fit.df) for root in roots]


def _limit(fit: ContrastFit, fall: float, side: Literal["lower", "upper"]) -> float:
    """Where the profile has fallen by `fall`, on one side of its highest point."""
    place, top = _top(fit)
    found = profile.limit(
        lambda value: _loglik(fit, value),
        top=place,
        top_loglik=top,
        fall=fall,
        step=1.0,
        side=side,
        tolerance=TOLERANCE_LOGIT,
    )
    return min(found, fit.estimate) if side == "lower" else max(found, fit.estimate)


def _top(fit: ContrastFit) -> tuple[float, float]:
    """Where the log-likelihood is highest, at the estimate or further out, and how high."""
    outward = math.copysign(1.0, fit.estimate)
    reach = OUTWARD_LOGIT if fit.near_separation else OUTWARD_LOGIT[:1]
    found: list[tuple[float, float]] = []
    for far in reach:
        place = fit.estimate + outward * far
        try:
            found.append((place, _loglik(fit, place)))
        except NotConverged:
            if not found:
                raise
    top = max(loglik for _, loglik in found)
    return next(at for at in found if at[1] >= top - FLAT)


def _loglik(fit: ContrastFit, value: float) -> float:
    """Log-likelihood with the contrast held at `value` and everything else free; found once a place."""
    if value not in fit.profile:
        made = fit.design
        at = made.names.index(CONTRAST)
        others = np.delete(made.fixed, at, axis=1)
        offset = fit.offset + value * made.fixed[:, at]
        fit.profile[value] = logistic_mixed.fit(made.chosen, others, made.terms, offset=offset).loglik
    return fit.profile[value]
