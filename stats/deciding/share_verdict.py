"""The verdict on a planned question from the share of direct choices, level taken every way."""

from collections.abc import Sequence
from dataclasses import dataclass

from stats.deciding import direct_share, listeners_outside, verdict
from stats.deciding.direct_share import DirectShare
from stats.deciding.level_bound import LevelBound
from stats.deciding.verdict import Kind, Verdict, Word
from stats.errors import StatsError

EVEN = 0.5
NO_GAIN = (
    "no control gain is at or above the level that is left between the two ({metric}, up to {db:.2g} dB), so "
    "what level does to these answers has no bound"
)
LEVEL = "level may be why: {word} as heard, {other} with level's largest part by {metric} taken into account"


@dataclass(frozen=True)
class Decided:
    """What a planned question comes to, on the share of direct choices."""

    word: Word
    reason: str
    kind: Kind
    alpha: float
    smallest: float
    """Smallest share that matters, above 0.5."""
    found: DirectShare
    """With its limits at alpha."""
    p: float
    """One-sided, of what `supported` rejects, by the way of taking level that says least."""
    rejects: bool
    """Whether that null hypothesis falls at alpha, however large the estimate: a step of Holm's goes on."""
    outside_upper: float | None
    """`same` only: upper confidence limit, at 1 - alpha, of the share of listeners outside."""
    outside_limit: float | None
    level: tuple[LevelBound, ...]
    direct: Verdict
    """Without regard to level; shares are less even chances."""


def decide(
    found: DirectShare,
    kind: Kind,
    *,
    smallest: float,
    alpha: float | None = None,
    outside_limit: float | None = None,
    level: Sequence[LevelBound] = (),
) -> Decided:
    """The verdict at a one-sided alpha; level by each metric must leave the word as it is.

    Parameters
    ----------
    kind : `more` or `same`
    smallest : above 0.5, below 1 (`more`: 0.5 too): the smallest share that matters
    alpha : of the limits; that of `found` if not given
    outside_limit : `same` only: the share of listeners that may hear a difference of their own
    level : the share with level's part taken off, by each metric

    Raises
    ------
    StatsError
        A number is out of range.
    """
    _check(kind, smallest)
    found = found if alpha is None else direct_share.at(found, alpha)
    delta = smallest - EVEN
    outside = _outside(found, delta, outside_limit) if kind == "same" else None
    direct = _judge(kind, found.share, found, found, delta, outside, outside_limit)
    word, reason = direct.word, _in_shares(direct.reason)
    rejects = _rejects(kind, found, found, delta)
    for one in level:
        if not (one.lowered or one.raised) or word == "no verdict":
            continue
        low = min((found, *one.lowered), key=lambda f: direct_share.lower_limit(f, found.alpha))
        high = max((found, *one.raised), key=lambda f: direct_share.upper_limit(f, found.alpha))
        rejects = rejects and _rejects(kind, low, high, delta)
        estimate = min(f.share for f in (found, *one.lowered)) if kind == "more" else found.share
        other = _judge(kind, estimate, low, high, delta, outside, outside_limit).word
        if word not in ("undecided", other):
            reason = _why(one, word, other)
            word = "undecided"
    return Decided(
        word=word,
        reason=reason,
        kind=kind,
        alpha=found.alpha,
        smallest=smallest,
        found=found,
        p=p_value(found, kind, smallest=smallest, level=level),
        rejects=rejects,
        outside_upper=outside,
        outside_limit=outside_limit if kind == "same" else None,
        level=tuple(level),
        direct=direct,
    )


def p_value(found: DirectShare, kind: Kind, *, smallest: float, level: Sequence[LevelBound] = ()) -> float:
    """One-sided p of what `supported` rejects: even chances or less; or a share outside even -+ delta.

    Parameters
    ----------
    found : share of direct choices with its parts
    kind : `more` or `same`
    smallest : share of choices that matters, above 0.5
    level : the share with level's part taken off, by each metric
    """
    lowered = [found, *(f for one in level for f in one.lowered)]
    raised = [found, *(f for one in level for f in one.raised)]
    if kind == "more":
        return max(direct_share.p_above(f, EVEN) for f in lowered)
    below = (direct_share.p_below(f, smallest) for f in raised)
    return max(*below, *(direct_share.p_above(f, 1 - smallest) for f in lowered))


def _judge(
    kind: Kind,
    estimate: float,
    low: DirectShare,
    high: DirectShare,
    delta: float,
    outside: float | None,
    outside_limit: float | None,
) -> Verdict:
    lower, upper = direct_share.lower_limit(low, low.alpha), direct_share.upper_limit(high, high.alpha)
    return verdict.decide(
        kind,
        estimate - EVEN,
        min(lower, estimate) - EVEN,
        max(upper, estimate) - EVEN,
        delta=delta,
        n_listeners=high.listeners,
        share_outside_upper=outside,
        share_outside_limit=outside_limit if kind == "same" else None,
    )


def _rejects(kind: Kind, low: DirectShare, high: DirectShare, delta: float) -> bool:
    lower = direct_share.lower_limit(low, low.alpha)
    if kind == "more":
        return lower > EVEN
    return lower > EVEN - delta and direct_share.upper_limit(high, high.alpha) < EVEN + delta


def _outside(found: DirectShare, delta: float, limit: float | None) -> float:
    counts = listeners_outside.Counts(
        found.own_chosen, found.own_counts, found.order or 0.0, found.ties / found.of
    )
    return listeners_outside.upper_limit(
        counts, found.alpha, delta=delta, scored_for=0.25 if limit is None else limit
    )


def _why(one: LevelBound, word: str, other: str) -> str:
    if one.unbounded > 0:
        return NO_GAIN.format(metric=one.metric, db=one.largest_db)
    return LEVEL.format(word=word, other=other, metric=one.metric)


def _in_shares(reason: str) -> str:
    return reason.replace("above zero", "above even chances")


def _check(kind: Kind, smallest: float) -> None:
    lowest_allowed = smallest >= EVEN if kind == "more" else smallest > EVEN
    if not (lowest_allowed and smallest < 1):
        raise StatsError(
            f"share verdict: smallest share that matters {smallest:g}, wanted above 0.5, below 1"
        )
