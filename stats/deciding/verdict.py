"""The verdict on a planned question: one pure function, with its truth table in the tests."""

import math
from dataclasses import dataclass
from typing import Literal, get_args

from stats.errors import StatsError

MINIMUM_LISTENERS = 8  # below this a panel cannot bear a verdict

Kind = Literal["more", "same"]
Word = Literal["supported", "contradicted", "undecided", "no verdict"]


@dataclass(frozen=True)
class Verdict:
    """What the planned question comes to, with the numbers it rests on."""

    word: Word
    reason: str
    """Which condition decided, in words without numbers; the numbers are the fields below."""
    kind: Kind
    estimate: float
    lower: float
    upper: float
    delta: float
    n_listeners: int
    share_outside_upper: float | None
    share_outside_limit: float | None

    @property
    def is_supported(self) -> bool:
        return self.word == "supported"


def decide(
    kind: Kind,
    estimate: float,
    lower: float,
    upper: float,
    *,
    delta: float,
    n_listeners: int,
    share_outside_upper: float | None = None,
    share_outside_limit: float | None = None,
) -> Verdict:
    """The verdict of one planned question from its estimate, its limits and the smallest effect that matters.

    Parameters
    ----------
    kind : "more" or "same"
        For "less", turn the sign of estimate and limits and ask for "more".
    estimate, lower, upper : lower <= estimate <= upper, infinite allowed, in the unit of delta
        Each limit is one-sided at 1 - alpha, so that together they are the (1 - 2 alpha) interval.
    delta : float, >= 0 for "more", > 0 for "same"
        Smallest effect that matters, from the protocol.
    n_listeners : int
        Listeners behind the estimate; below MINIMUM_LISTENERS the word is "no verdict".
    share_outside_upper, share_outside_limit : 0 to 1
        For "same" only: upper limit of the share of listeners whose own effect lies outside +-delta, and what
        the protocol allows. Without both, "same" is never supported.

    Raises
    ------
    StatsError
        A number is NaN or out of range, or the limits do not hold the estimate.

    Source: the truth table in tests/stats/deciding/test_verdict.py; for "same" the two one-sided tests of
    Schuirmann 1987, J. Pharmacokinet. Biopharm. 15.
    """
    _check(kind, estimate, lower, upper, delta, n_listeners)
    _check_shares(share_outside_upper, share_outside_limit)
    word: Word
    if n_listeners < MINIMUM_LISTENERS:
        word, reason = "no verdict", too_few(n_listeners)
    elif kind == "more":
        word, reason = _more(estimate, lower, upper, delta)
    else:
        word, reason = _same(lower, upper, delta, share_outside_upper, share_outside_limit)
    return Verdict(
        word=word,
        reason=reason,
        kind=kind,
        estimate=estimate,
        lower=lower,
        upper=upper,
        delta=delta,
        n_listeners=n_listeners,
        share_outside_upper=share_outside_upper,
        share_outside_limit=share_outside_limit,
    )


def too_few(n_listeners: int) -> str:
    """Why so few listeners bear no verdict."""
    return f"{n_listeners} listener{'' if n_listeners == 1 else 's'}, at least {MINIMUM_LISTENERS} are needed"


def _more(estimate: float, lower: float, upper: float, delta: float) -> tuple[Word, str]:
    if lower > 0 and estimate >= delta:
        return (
            "supported",
            "the lower limit is above zero and the estimate reaches the smallest effect that matters",
        )
    if upper < delta:
        return "contradicted", "the upper limit is below the smallest effect that matters"
    if lower > 0:
        return (
            "undecided",
            "the lower limit is above zero but the estimate is below the smallest effect that matters",
        )
    return (
        "undecided",
        "the lower limit is not above zero and the upper limit reaches the smallest effect that matters",
    )


def _same(
    lower: float, upper: float, delta: float, share: float | None, share_limit: float | None
) -> tuple[Word, str]:
    if lower > delta or upper < -delta:
        return "contradicted", "the whole interval lies outside the smallest effect that matters"
    if not (-delta < lower and upper < delta):
        return "undecided", "the interval does not lie inside the smallest effect that matters"
    if share is None or share_limit is None:
        return (
            "undecided",
            "the share of listeners with an effect of their own was not estimated or not limited",
        )
    if share >= share_limit:
        return "undecided", "too many listeners may hear an effect of their own: the panel may be split"
    return (
        "supported",
        "the interval lies inside the smallest effect that matters, and so do enough of the listeners",
    )


def _check(kind: str, estimate: float, lower: float, upper: float, delta: float, n_listeners: int) -> None:
    if kind not in get_args(Kind):
        raise StatsError(f"verdict: kind is {kind!r}, wanted one of {', '.join(get_args(Kind))}")
    numbers = {"estimate": estimate, "lower limit": lower, "upper limit": upper, "smallest effect": delta}
    for name, value in numbers.items():
        if math.isnan(value):
            raise StatsError(f"verdict: the {name} is not a number; look at the fit that gave it")
    if not lower <= estimate <= upper:
        raise StatsError(
            f"verdict: found lower {lower:g}, estimate {estimate:g}, upper {upper:g}; "
            "wanted lower <= estimate <= upper"
        )
    if math.isinf(delta) or delta < 0 or (kind == "same" and delta == 0):
        wanted = "0 or more" if kind == "more" else "above 0"
        raise StatsError(
            f"verdict: the smallest effect that matters is {delta:g}, wanted {wanted} and finite"
        )
    if n_listeners < 0:
        raise StatsError(f"verdict: {n_listeners} listeners, wanted 0 or more")


def _check_shares(share: float | None, share_limit: float | None) -> None:
    names = ("upper limit of the share of listeners outside", "limit of the share of listeners outside")
    for name, value in zip(names, (share, share_limit), strict=True):
        if value is not None and not 0 <= value <= 1:
            raise StatsError(f"verdict: the {name} is {value:g}, wanted 0 to 1")
