"""Tasks answered with a criterion: same-different, and A or not A."""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import scipy
from scipy import special

from stats.discrimination.forced_choice import Interval
from stats.errors import StatsError
from stats.fixed import tail_areas

D_PRIME_MAX = 15.0
CRITERION_MAX = 20.0

Rates = Callable[[float, float], tuple[float, float, float, float]]
"""(d', criterion) to four rates: of the answer in question where there is nothing to hear, of the other
answer
there, and the same two where there is something. Rates near 1 would lose the other answer's."""


@dataclass(frozen=True)
class YesNo:
    """d' and criterion from two counts."""

    task: str
    n_false: int
    n_noise: int
    n_hit: int
    n_signal: int
    d_prime: float
    d_prime_interval: Interval
    criterion: float
    """Same-different: the smallest difference called different. A or not A: how far A must exceed the mean of
    not-A to be called A, in standard deviations."""
    p_difference: float
    """Fisher's exact one-sided test: more such answers where there is something to hear."""
    level: float
    loglik: float
    """Without binomial coefficients."""


@dataclass(frozen=True)
class _Counts:
    n_false: int
    n_noise: int
    n_hit: int
    n_signal: int

    def loglik(self, rate_false: float, rate_rejected: float, rate_hit: float, rate_missed: float) -> float:
        return float(
            special.xlogy(self.n_false, rate_false)
            + special.xlogy(self.n_noise - self.n_false, rate_rejected)
            + special.xlogy(self.n_hit, rate_hit)
            + special.xlogy(self.n_signal - self.n_hit, rate_missed)
        )


def same_different(
    n_different_of_same: int,
    n_same: int,
    n_different_of_different: int,
    n_different: int,
    *,
    level: float = 0.95,
) -> YesNo:
    """d' from "different" answers to pairs that are the same and to pairs that differ (differencing
    strategy).

    Parameters
    ----------
    level : confidence of the interval, above 0, below 1
    n_different_of_same, n_same : counts
        "Different" answers among the n_same pairs that are the same.
    n_different_of_different, n_different : counts
        "Different" answers among the n_different pairs that differ.

    Source: Macmillan & Creelman, Detection Theory, 2nd ed. 2005, chapter 9; Christensen & Brockhoff 2009,
    Food Qual. Prefer. 20, for the likelihood interval.
    """
    counts = _Counts(n_different_of_same, n_same, n_different_of_different, n_different)
    return _fit("same-different", counts, _same_different_rates, level, lowest=0.0)


def a_not_a(n_a_of_not_a: int, n_not_a: int, n_a_of_a: int, n_a: int, *, level: float = 0.95) -> YesNo:
    """d' from "A" answers to single sounds that are not A and that are A; negative when the labels are
    swapped.

    n_a_of_not_a, n_not_a, n_a_of_a, n_a : counts
        "A" answers among the n_not_a sounds that are not A and among the n_a that are.

    Parameters
    ----------
    level : confidence of the interval, above 0, below 1

    Source: Macmillan & Creelman, Detection Theory, 2nd ed. 2005, chapter 1; ISO 8588 for the task.
    """
    counts = _Counts(n_a_of_not_a, n_not_a, n_a_of_a, n_a)
    return _fit("a-not-a", counts, _a_not_a_rates, level, lowest=-D_PRIME_MAX)


def _same_different_rates(d_prime: float, criterion: float) -> tuple[float, float, float, float]:
    tau, delta = criterion / math.sqrt(2), d_prime / math.sqrt(2)
    hit = special.ndtr(delta - tau) + special.ndtr(-delta - tau)
    missed = special.ndtr(tau - delta) - special.ndtr(-tau - delta)
    return 2 * float(special.ndtr(-tau)), math.erf(tau / math.sqrt(2)), float(hit), float(missed)


def _a_not_a_rates(d_prime: float, criterion: float) -> tuple[float, float, float, float]:
    there, here = (
        special.ndtr([-criterion, criterion]),
        special.ndtr([d_prime - criterion, criterion - d_prime]),
    )
    return float(there[0]), float(there[1]), float(here[0]), float(here[1])


def _fit(name: str, counts: _Counts, rates: Rates, level: float, *, lowest: float) -> YesNo:
    _check(name, counts, level)
    least_criterion = 0.0 if name == "same-different" else -CRITERION_MAX
    profile = _Profile(counts, rates, least_criterion)
    d_prime = _estimate(profile, counts, lowest)
    best = profile.loglik(min(d_prime, D_PRIME_MAX) if d_prime > 0 else max(d_prime, -D_PRIME_MAX))
    table = np.array(
        [
            [counts.n_hit, counts.n_signal - counts.n_hit],
            [counts.n_false, counts.n_noise - counts.n_false],
        ]
    )
    return YesNo(
        task=name,
        n_false=counts.n_false,
        n_noise=counts.n_noise,
        n_hit=counts.n_hit,
        n_signal=counts.n_signal,
        d_prime=d_prime,
        d_prime_interval=_interval(profile, d_prime, best, level, lowest),
        criterion=profile.criterion(max(min(d_prime, D_PRIME_MAX), -D_PRIME_MAX)),
        p_difference=float(scipy.stats.fisher_exact(table, alternative="greater").pvalue),
        level=level,
        loglik=best,
    )


@dataclass(frozen=True)
class _Profile:
    """Likelihood of d' with the criterion at its best."""

    counts: _Counts
    rates: Rates
    least_criterion: float

    def criterion(self, d_prime: float) -> float:
        found = scipy.optimize.minimize_scalar(
            lambda c: -self.counts.loglik(*self.rates(d_prime, c)),
            bounds=(self.least_criterion, CRITERION_MAX),
            method="bounded",
            options={"xatol": 1e-10},
        )
        return float(found.x)

    def loglik(self, d_prime: float) -> float:
        return self.counts.loglik(*self.rates(d_prime, self.criterion(d_prime)))


def _estimate(profile: _Profile, counts: _Counts, lowest: float) -> float:
    """The best d', in closed form where the observed rates can be met exactly."""
    rate_false, rate_hit = counts.n_false / counts.n_noise, counts.n_hit / counts.n_signal
    if lowest == 0.0 and rate_hit <= rate_false:
        return 0.0
    if rate_hit in (0.0, 1.0) or rate_false in (0.0, 1.0):
        return _estimate_at_edge(rate_false, rate_hit)
    if lowest < 0:
        return float(special.ndtri(rate_hit) - special.ndtri(rate_false))
    tau = -math.sqrt(2) * float(special.ndtri(rate_false / 2))
    return float(
        scipy.optimize.brentq(
            lambda d: _same_different_rates(d, tau)[2] - rate_hit, 0.0, 2 * D_PRIME_MAX, xtol=1e-13
        )
    )


def _estimate_at_edge(rate_false: float, rate_hit: float) -> float:
    if rate_hit == rate_false:
        return 0.0
    return math.inf if rate_hit > rate_false else -math.inf


def _interval(profile: _Profile, d_prime: float, best: float, level: float, lowest: float) -> Interval:
    floor = best - tail_areas.chi_square_quantile(level, 1) / 2

    def above_floor(d: float) -> float:
        return profile.loglik(d) - floor

    centre = max(min(d_prime, D_PRIME_MAX), lowest)
    lower, upper = lowest, D_PRIME_MAX
    if above_floor(lowest) < 0:
        lower = scipy.optimize.brentq(above_floor, lowest, centre, xtol=1e-9)
    elif lowest < 0:
        lower = -math.inf
    upper = math.inf
    if above_floor(D_PRIME_MAX) < 0:
        upper = scipy.optimize.brentq(above_floor, centre, D_PRIME_MAX, xtol=1e-9)
    return Interval(float(lower), float(upper))


def _check(name: str, counts: _Counts, level: float) -> None:
    for count, trials in ((counts.n_false, counts.n_noise), (counts.n_hit, counts.n_signal)):
        if trials < 1 or not 0 <= count <= trials:
            raise StatsError(
                f"{name}: {count} of {trials} trials; wanted at least 1 trial and a count within it"
            )
    if not 0 < level < 1:
        raise StatsError(f"{name}: interval level {level:g}, wanted between 0 and 1")
