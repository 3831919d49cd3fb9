"""Forced-choice discrimination: was a difference heard, or was it too small to be heard?"""

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from scipy import special

from stats.discrimination.critical_counts import chance_of_at_least, chance_of_at_most
from stats.discrimination.psychometric import Task, task
from stats.errors import StatsError
from stats.fixed import bracketed_root, frames, tail_areas

if TYPE_CHECKING:
    import pandas as pd

DECIMALS = 4

TOLD = {
    "share_discriminating": "share not guessed (share_discriminating)",
    "share_correct": "share of correct answers (share_correct)",
    "d_prime": "distance heard, d' (d_prime)",
}
"""What each number is called in print, beside its name in tables."""


@dataclass(frozen=True)
class Interval:
    lower: float
    upper: float


@dataclass(frozen=True)
class Discrimination:
    """d', share correct and share of answers not guessed, of one forced-choice task."""

    task: str
    n_correct: int
    n_trials: int
    guess: float
    share_correct: float
    """Maximum-likelihood share: the observed one, or the guessing rate where fewer were correct."""
    share_correct_se: float | None
    """None at a limit (guessing rate or all correct), where the share has no standard error."""
    share_correct_interval: Interval
    share_discriminating: float
    share_discriminating_se: float | None
    share_discriminating_interval: Interval
    d_prime: float
    """0 at the guessing rate or below, infinite when all are correct."""
    d_prime_se: float | None
    d_prime_interval: Interval
    level: float
    """Of the intervals, which are likelihood intervals and hence the same statement on three scales."""
    p_difference: float
    """Exact one-sided test against guessing."""
    loglik: float
    """Without the binomial coefficient."""

    def to_frame(self) -> "pd.DataFrame":
        """Estimate, standard error and likelihood interval of each of the three scales, a row each."""
        rows = list(self._scales().values())
        columns = {
            "estimate": [estimate for estimate, _, _ in rows],
            "se": [se for _, se, _ in rows],
            "lower": [interval.lower for _, _, interval in rows],
            "upper": [interval.upper for _, _, interval in rows],
        }
        return frames.frame(columns, list(self._scales()))

    def to_dict(self) -> dict[str, Any]:
        """Plain values, as `listening fit counts --json` prints them; None for the infinite or missing."""
        return {
            "model": f"discrimination: {self.task}",
            "n": self.n_trials,
            "reference": None,
            "estimates": {name: _entry(*numbers) for name, numbers in self._scales().items()},
            "spread": {},
            "loglik": self.loglik,
            "p_difference": self.p_difference,
            "coverage": self.level,
            "warnings": self.warnings,
        }

    def summary(self) -> str:
        """The text that `listening fit counts` prints."""
        percent = f"{100 * self.level:g} %"
        is_told = self.p_difference < 1 - self.level
        verb = "more" if is_told else "not more"
        lines = [
            f"{self.task}: {self.n_correct} of {self.n_trials} correct, {verb} than guessing gives "
            f"(exact one-sided p = {self.p_difference:.{DECIMALS}g}).",
        ]
        for name in TOLD:
            estimate, se, interval = self._scales()[name]
            error = "" if se is None else f", standard error {se:.{DECIMALS}f}"
            lines.append(
                f"  {TOLD[name]}: {estimate:.{DECIMALS}f}, between {interval.lower:.{DECIMALS}f} and "
                f"{interval.upper:.{DECIMALS}f} ({percent} likelihood limits{error})"
            )
        return "\n".join([*lines, *(f"warning: {warning}" for warning in self.warnings)])

    def __str__(self) -> str:
        return self.summary()

    @property
    def warnings(self) -> list[str]:
        """What a reader of the estimates has to know."""
        found = self.n_correct / self.n_trials
        if found < self.guess:
            return [
                f"{self.n_correct} of {self.n_trials} correct, below guessing ({self.guess:.{DECIMALS}f}): "
                "the estimates stand at their limit and have no standard error"
            ]
        if found == self.guess:
            return ["exactly the guessing rate: d' stands at its limit 0 and has no standard error"]
        if self.n_correct == self.n_trials:
            return ["all correct: d' has no upper limit (null) and no standard error; use the lower limit"]
        return []

    def _scales(self) -> dict[str, tuple[float, float | None, Interval]]:
        return {
            "d_prime": (self.d_prime, self.d_prime_se, self.d_prime_interval),
            "share_correct": (self.share_correct, self.share_correct_se, self.share_correct_interval),
            "share_discriminating": (
                self.share_discriminating,
                self.share_discriminating_se,
                self.share_discriminating_interval,
            ),
        }


def _entry(estimate: float, se: float | None, interval: Interval) -> dict[str, float | None]:
    return {
        "estimate": _finite(estimate),
        "se": se,
        "lower": _finite(interval.lower),
        "upper": _finite(interval.upper),
    }


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None  # JSON knows no infinity


def fit(task_name: str, n_correct: int, n_trials: int, *, level: float = 0.95) -> Discrimination:
    """d' and its companions from a count of correct answers.

    Parameters
    ----------
    task_name : str
        triangle, duo-trio, tetrad, 2-afc, 3-afc ... 100-afc.
    n_correct, n_trials : 0 <= n_correct <= n_trials, n_trials >= 1
        Independent answers; for several answers a listener see `beta_binomial`.
    level : 0 to 1

    Source: exact test as in ISO 4120 and ISO 10399; Brockhoff & Christensen 2010, Food Qual. Prefer. 21,
    for the
    models and likelihood intervals.
    """
    _check(n_correct, n_trials, level)
    kind = task(task_name)
    share = max(n_correct / n_trials, kind.guess)
    d_prime = kind.d_prime(share)
    inside = kind.guess < share < 1
    share_se = math.sqrt(share * (1 - share) / n_trials) if inside else None
    interval = _likelihood_interval(kind, n_correct, n_trials, level)
    return Discrimination(
        task=kind.name,
        n_correct=n_correct,
        n_trials=n_trials,
        guess=kind.guess,
        share_correct=share,
        share_correct_se=share_se,
        share_correct_interval=interval,
        share_discriminating=kind.share_discriminating(share),
        share_discriminating_se=None if share_se is None else share_se / (1 - kind.guess),
        share_discriminating_interval=Interval(
            kind.share_discriminating(interval.lower), kind.share_discriminating(interval.upper)
        ),
        d_prime=d_prime,
        d_prime_se=None if share_se is None else share_se / kind.slope(d_prime),
        d_prime_interval=Interval(kind.d_prime(interval.lower), kind.d_prime(interval.upper)),
        level=level,
        p_difference=chance_of_at_least(n_correct, n_trials, kind.guess),
        loglik=_loglik(n_correct, n_trials, share),
    )


def similarity(
    task_name: str,
    n_correct: int,
    n_trials: int,
    *,
    d_prime: float | None = None,
    share_discriminating: float | None = None,
) -> float:
    """Exact one-sided p-value against a difference as large as the one given, as d' or as share not guessed.

    Small means: if the difference were that large, so few correct answers would be unlikely.

    Parameters
    ----------
    task_name : triangle, duo-trio, tetrad, 2-afc, 3-afc ...
    n_correct : right ones, 0 to `n_trials`
    n_trials : answers in all, 1 or more
    d_prime, share_discriminating : one of them, the largest difference allowed, above 0

    Raises
    ------
    StatsError
        Both or neither of the differences are given, or one that is out of range.
    """
    _check(n_correct, n_trials, 0.95)
    kind = task(task_name)
    if (d_prime is None) == (share_discriminating is None):
        raise StatsError(
            "similarity: give either d' or the share of answers not guessed, not both, not neither"
        )
    if d_prime is not None and d_prime > 0:
        share = float(kind.share_correct(d_prime))
    elif share_discriminating is not None and 0 < share_discriminating < 1:
        share = kind.share_from_discriminating(share_discriminating)
    else:
        raise StatsError("similarity: the largest difference allowed must be above 0, and a share below 1")
    return chance_of_at_most(n_correct, n_trials, share)


def _loglik(n_correct: int, n_trials: int, share: float) -> float:
    return float(special.xlogy(n_correct, share) + special.xlog1py(n_trials - n_correct, -share))


def _likelihood_interval(kind: Task, n_correct: int, n_trials: int, level: float) -> Interval:
    """Shares, from the guessing rate up, whose likelihood is not too far below the largest."""
    best = max(n_correct / n_trials, kind.guess)
    floor = _loglik(n_correct, n_trials, best) - tail_areas.chi_square_quantile(level, 1) / 2

    def above_floor(share: float) -> float:
        return _loglik(n_correct, n_trials, share) - floor

    lower = kind.guess
    if above_floor(kind.guess) < 0:
        lower = bracketed_root.find(above_floor, kind.guess, best, tolerance=1e-14)
    upper = 1.0
    if n_correct < n_trials:
        upper = bracketed_root.find(above_floor, best, 1 - 1e-16, tolerance=1e-14)
    return Interval(float(lower), float(upper))


def _check(n_correct: int, n_trials: int, level: float) -> None:
    if n_correct != int(n_correct) or n_trials != int(n_trials):
        raise StatsError(f"discrimination: {n_correct} correct of {n_trials} trials; wanted whole numbers")
    if n_trials < 1 or not 0 <= n_correct <= n_trials:
        raise StatsError(
            f"discrimination: {n_correct} correct of {n_trials} trials; wanted at least 1 trial and 0 to "
            f"{max(n_trials, 1)} correct"
        )
    if not 0 < level < 1:
        raise StatsError(f"discrimination: interval level {level:g}, wanted between 0 and 1")
