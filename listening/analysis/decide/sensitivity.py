"""A planned question looked at in other ways: printed beside the verdict, never deciding it."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import pandas as pd

from listening.analysis.collect import screening
from listening.analysis.decide import decide
from listening.analysis.decide.decide import Decided
from listening.records.found.findings_study import ListenerRow
from stats.deciding import equivalence, verdict
from stats.discrimination import critical_counts

EVEN = 0.5


@dataclass(frozen=True)
class Other:
    """One other way; the word is None where that way cannot bear the planned question."""

    name: str
    estimate: float | None
    lower: float | None
    upper: float | None
    p: float | None
    n_listeners: int
    word: str | None
    note: str = ""
    unit: Literal["logit", "share"] = "logit"


@dataclass(frozen=True)
class Given:
    """What every other way of looking starts from."""

    answers: pd.DataFrame
    """Of all listeners, excluded ones too."""
    listeners: Sequence[ListenerRow]
    about_level: bool
    loudness: str | None
    """The attribute that asks which is louder."""


def others(decided: Decided, given: Given) -> tuple[Other, ...]:
    """Every other way that applies to this question, models left out: see `beside`."""
    made = []
    if any(row.excluded for row in given.listeners):
        made.append(_again("without exclusions", decided, given.answers, given))
    if any(row.flags and not row.excluded for row in given.listeners):
        rest = screening.unsuspected(given.answers, given.listeners)
        made.append(_again("with suspect listeners left out", decided, rest, given))
    if decided.fitted.level:
        made.append(_uncorrected(decided))
    return (*made, pooled(decided), sign_test(decided))


def sign_test(decided: Decided) -> Other:
    """Over listeners, how many chose the one said to have more in most of their direct comparisons."""
    name, found = "sign test over listeners", decided.fitted.found
    if found is None:
        return Other(name, None, None, None, None, decided.fitted.n_listeners, None)
    net = 2 * found.own_chosen - found.own_counts.sum(axis=1)
    n_more, n_decided = int((net > 0).sum()), int((net != 0).sum())
    note = f"{n_more} of {n_decided} listeners, {found.listeners - n_decided} tied"
    if n_decided == 0 or not decided.fitted.question.of_kind.has_direction:
        return Other(name, None, None, None, None, found.listeners, None, note)
    p = critical_counts.chance_of_at_least(n_more, n_decided, EVEN)
    if decided.word == "contradicted":  # a sign test knows no smallest effect, so it can contradict nothing
        return Other(name, None, None, None, p, found.listeners, None, note)
    word = "supported" if p <= decided.alpha else "undecided"
    return Other(name, None, None, None, p, found.listeners, word, note)


def pooled(decided: Decided) -> Other:
    """All direct answers as if one listener had given them: too sure, and so only for comparison.

    Limits by Clopper and Pearson; a tie counts half for each.
    """
    name, found = "answers pooled over listeners", decided.fitted.found
    if found is None:
        return Other(name, None, None, None, None, decided.fitted.n_listeners, None, unit="share")
    question, share, k = decided.fitted.question, found.chosen / found.of, round(found.chosen)
    lower, upper = equivalence.clopper_pearson(k, found.of, decided.alpha)
    word = verdict.decide(
        question.rule,
        share - EVEN,
        min(lower, share) - EVEN,
        max(upper, share) - EVEN,
        delta=question.smallest_share - EVEN,
        n_listeners=found.listeners,
        share_outside_upper=0.0,  # pooling cannot see a split panel
        share_outside_limit=1.0,
    ).word
    p = critical_counts.chance_of_at_least(k, found.of, EVEN) if question.of_kind.has_direction else None
    return Other(name, share, lower, upper, p, found.listeners, word, unit="share")


def _again(name: str, decided: Decided, table: pd.DataFrame, given: Given) -> Other:
    """The deciding analysis on other listeners, at the same alpha."""
    made = decide.decide_question(
        table,
        decided.fitted.question,
        about_level=given.about_level,
        loudness=given.loudness,
        alpha=decided.alpha,
    )
    if made.judged is None:
        return Other(name, None, None, None, None, made.fitted.n_listeners, made.word, made.reason)
    found = made.judged.found
    return Other(
        name, found.share, found.lower, found.upper, made.p, found.listeners, made.word, unit="share"
    )


def _uncorrected(decided: Decided) -> Other:
    """The verdict without regard to level."""
    name, made = "no level correction", decided.judged
    if made is None:
        return Other(name, None, None, None, None, decided.fitted.n_listeners, None)
    found = made.found
    return Other(
        name, found.share, found.lower, found.upper, None, found.listeners, made.direct.word, unit="share"
    )
