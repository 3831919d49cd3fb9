"""A planned question looked at in other ways: printed beside the verdict, never deciding it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from listening.analysis.collect import keyed_answers, screening
from listening.analysis.decide import contrast, decide
from listening.analysis.decide.decide import Decided
from listening.analysis.decide.level_slope import Slope
from listening.records.findings import ListenerRow
from stats import t_interval
from stats.deciding import verdict
from stats.discrimination import critical_counts
from stats.errors import NotConverged, NotIdentified, StatsError
from stats.fixed import firth, newton
from stats.fixed.binary import Binary


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


@dataclass(frozen=True)
class Given:
    """What every other way of looking starts from."""

    answers: pd.DataFrame
    """Of all listeners, excluded ones too."""
    listeners: Sequence[ListenerRow]
    slope: Slope | None
    about_level: bool
    metric: str | None


def others(decided: Decided, given: Given) -> tuple[Other, ...]:
    """Every other way that applies to this question."""
    kept = screening.kept(given.answers, given.listeners)
    made = []
    if any(row.excluded for row in given.listeners):
        made.append(_again("without exclusions", decided, given.answers, given))
    if any(row.flags and not row.excluded for row in given.listeners):
        rest = screening.unsuspected(given.answers, given.listeners)
        made.append(_again("with suspect listeners left out", decided, rest, given))
    if decided.ways and decided.ways[0].taken.slope_at != "none":
        made.append(_uncorrected(decided, kept))
    rows = _rows(decided, kept)
    return (*made, pooled(decided, rows), sign_test(decided, rows))


def sign_test(decided: Decided, rows: pd.DataFrame) -> Other:
    """Over listeners, how many chose the one said to have more in most of their direct comparisons."""
    name = "sign test over listeners"
    direct = direct_answers(
        rows, decided.fitted.question.contrast.more, decided.fitted.question.contrast.than
    )
    net = direct.groupby("listener")["more"].agg(lambda chosen: float((2 * chosen - 1).sum()))
    n_more, n_decided = int((net > 0).sum()), int((net != 0).sum())
    note = f"{n_more} of {n_decided} listeners, {len(net) - n_decided} undecided"
    if n_decided == 0 or decided.fitted.question.kind != "more":
        return Other(name, None, None, None, None, len(net), None, note)
    p = critical_counts.chance_of_at_least(n_more, n_decided, 0.5)
    if decided.word == "contradicted":  # a sign test knows no smallest effect, so it can contradict nothing
        return Other(name, None, None, None, p, len(net), None, note)
    word = "supported" if p <= decided.alpha else "undecided"
    return Other(name, None, None, None, p, len(net), word, note)


def direct_answers(rows: pd.DataFrame, more: str, than: str) -> pd.DataFrame:
    """Direct comparisons of the two conditions: listener, and more (1 where it was chosen)."""
    forward = (rows["condition_first"] == more) & (rows["condition_second"] == than)
    backward = (rows["condition_first"] == than) & (rows["condition_second"] == more)
    chosen = np.where(forward, rows["chosen"], 1 - rows["chosen"])
    return pd.DataFrame({"listener": rows["listener"], "more": chosen})[forward | backward]


def _rows(decided: Decided, table: pd.DataFrame) -> pd.DataFrame:
    question = decided.fitted.question
    return keyed_answers.select(table, attribute=question.attribute, presentation=question.presentation)


def _again(name: str, decided: Decided, table: pd.DataFrame, given: Given) -> Other:
    """The deciding analysis on other listeners, at the same alpha."""
    made = decide.decide_question(
        table,
        decided.fitted.question,
        slope=given.slope,
        about_level=given.about_level,
        metric=given.metric,
        alpha=decided.alpha,
        first_way_only=True,
    )
    return _other(name, made)


def _uncorrected(decided: Decided, table: pd.DataFrame) -> Other:
    made = decide.decide_question(
        table, decided.fitted.question, slope=None, about_level=True, alpha=decided.alpha
    )
    return _other("no level correction", made)


def _other(name: str, made: Decided) -> Other:
    n_listeners = made.fitted.n_listeners
    if not made.ways:
        return Other(name, None, None, None, None, n_listeners, made.word, made.reason)
    way = made.ways[0]
    return Other(name, way.fit.estimate, way.bounds.lower, way.bounds.upper, made.p, n_listeners, made.word)


def pooled(decided: Decided, rows: pd.DataFrame) -> Other:
    """All answers as if one listener had given them: too sure, and so only for comparison.

    Parameters
    ----------
    rows : the answers that `decided` rests on, in the same order; level is taken as its first way took it
    """
    name = "answers pooled over listeners"
    question = decided.fitted.question
    n_listeners = int(rows["listener"].nunique())
    try:
        made = contrast.design(rows, more=question.contrast.more, than=question.contrast.than)
        answers = Binary.of(made.chosen, 1 - made.chosen)
        offset = decided.ways[0].fit.offset if decided.ways else None
        try:
            found = newton.maximise(answers, made.fixed, offset=offset)
        except (NotConverged, NotIdentified):  # separated: only the penalised estimate is finite
            found = firth.maximise(answers, made.fixed, offset=offset)
    except StatsError as error:
        return Other(name, None, None, None, None, n_listeners, None, str(error))
    at = made.names.index(contrast.CONTRAST)
    estimate, se = float(found.beta[at]), float(np.sqrt(found.covariance()[at, at]))
    lower, upper = t_interval.of(estimate, se, np.inf, 1 - 2 * decided.alpha)
    word = verdict.decide(
        question.rule,
        estimate,
        lower,
        upper,
        delta=decide.smallest_effect_logit(question, 0.0),
        n_listeners=n_listeners,
        share_outside_upper=0.0,  # pooling cannot see a split panel
        share_outside_limit=1.0,
    ).word
    p = t_interval.upper_tail(estimate / se, np.inf) if question.kind == "more" else None
    return Other(name, estimate, lower, upper, p, n_listeners, word)
