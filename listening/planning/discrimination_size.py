"""Panel size of a discrimination task, exact: counts of right answers follow the binomial law."""

from dataclasses import dataclass

from stats.discrimination import critical_counts, psychometric
from stats.errors import StatsError


@dataclass(frozen=True)
class Size:
    """How many answers a discrimination task needs."""

    task: str
    share_correct: float
    """If the difference is as supposed."""
    n_first: int
    """Smallest number of answers that reaches the power; a few more may fall short again."""
    n_from: int
    """From here on never short again: plan with this one."""
    min_correct: int
    """Right answers needed among n_from."""
    power: float
    """At n_from."""


def size(
    task_name: str,
    *,
    d_prime: float | None = None,
    share_not_guessed: float | None = None,
    alpha: float = 0.05,
    power: float = 0.8,
) -> Size:
    """Answers needed to show a difference, one answer a listener.

    Parameters
    ----------
    task_name : triangle, duo-trio, tetrad, 2-afc, 3-afc ...
    d_prime, share_not_guessed : how large the difference is: as d', or as the share of
        answers that are not guessed; give one

    Raises
    ------
    StatsError
        Neither or both are given, or more than 100,000 answers would be needed.
    """
    kind = psychometric.task(task_name)
    share = _share(kind, d_prime, share_not_guessed)
    found = critical_counts.panel_size(share, guess=kind.guess, alpha=alpha, power=power)
    needed = critical_counts.min_correct(found.n_from, guess=kind.guess, alpha=alpha)
    reached = critical_counts.power(found.n_from, share, guess=kind.guess, alpha=alpha)
    return Size(kind.name, share, found.n_first, found.n_from, needed or found.n_from, reached)


def _share(kind: psychometric.Task, d_prime: float | None, share_not_guessed: float | None) -> float:
    if (d_prime is None) == (share_not_guessed is None):
        raise StatsError("size: give the difference either as d' or as the share not guessed")
    if d_prime is not None:
        return float(kind.share_correct(d_prime))
    return kind.share_from_discriminating(float(share_not_guessed or 0.0))
