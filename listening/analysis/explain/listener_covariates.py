"""Planned covariates of listeners: own shares by what they said of themselves; describes, decides nothing."""

from collections.abc import Iterator, Mapping

import numpy as np
import pandas as pd

from listening.analysis.collect import keyed_answers
from listening.analysis.collect.listener_answers import ASKED, Own
from listening.analysis.decide import direct_answers
from listening.analysis.decide.direct_answers import DirectAnswers
from listening.records.found.findings_explained import GroupShare, ListenerCovariate
from listening.records.found.interval import Interval
from listening.records.protocols.protocol import Protocol, Question
from stats import t_interval
from stats.deciding import own_shares
from stats.errors import StatsError
from stats.linear import welch_means

LEVEL = 0.95
UNSAID = "(not said)"


def of_study(kept: pd.DataFrame, protocol: Protocol, own: Own) -> tuple[ListenerCovariate, ...]:
    """Each question on choices by each planned covariate, in the order of the protocol.

    Parameters
    ----------
    kept : choices of the listeners who are not excluded
    own : what each listener said, as `listener_answers.of_events` gives it
    """
    return tuple(_each(kept, protocol, own))


def _each(kept: pd.DataFrame, protocol: Protocol, own: Own) -> Iterator[ListenerCovariate]:
    asked = {one.wording: (i, one.answers) for i, one in enumerate(protocol.sitting.questionnaire, start=1)}
    for wording in protocol.covariates.listeners:
        number, answers = asked[wording]
        said = {name: str(cells.get(ASKED.format(number), UNSAID)) for name, cells in own.items()}
        for question in protocol.questions:
            if question.by_choices:
                shares = _shares(kept, question)
                groups = {
                    answer: [share for name, share in shares.items() if said.get(name, UNSAID) == answer]
                    for answer in (*answers, UNSAID)
                }
                yield _covariate(question, wording, groups)


def _shares(kept: pd.DataFrame, question: Question) -> dict[str, float]:
    """Each listener's own share of `more` in direct comparisons, the mean over several pairs."""
    rows = keyed_answers.select(kept, attribute=question.attribute, presentation=question.presentation)
    direct = direct_answers.of_contrast(rows, question.contrast)
    parts = [_of_part(direct.of_part(int(n))) for n in np.unique(direct.part)]
    names = sorted(set.intersection(*map(set, parts))) if parts else []
    return {name: float(np.mean([part[name] for part in parts])) for name in names}


def _of_part(direct: DirectAnswers) -> dict[str, float]:
    names, listener = np.unique(direct.listener, return_inverse=True)
    order = None if direct.more_first is None else 2.0 * direct.more_first - 1.0
    found = own_shares.estimate(direct.chosen, listener, order)
    return dict(zip(map(str, names), map(float, found.share), strict=True))


def _covariate(question: Question, wording: str, groups: Mapping[str, list[float]]) -> ListenerCovariate:
    told = [values for answer, values in groups.items() if answer != UNSAID and len(values) > 1]
    try:
        p = welch_means.p_differ(told)
    except StatsError:
        p = None
    return ListenerCovariate(
        question=question.id,
        wording=wording,
        groups=tuple(
            GroupShare(answer=answer, n_listeners=len(values), share=_mean(values))
            for answer, values in groups.items()
            if values or answer != UNSAID
        ),
        p=p,
    )


def _mean(values: list[float]) -> Interval | None:
    """Of the listeners of a group, with t limits; None of nobody, no limits of one."""
    if not values:
        return None
    mean, n = float(np.mean(values)), len(values)
    if n < 2:
        return Interval(value=mean, lower=None, upper=None, coverage=LEVEL)
    se = float(np.std(values, ddof=1)) / n**0.5
    lower, upper = t_interval.of(mean, se, n - 1.0, LEVEL)
    return Interval(value=mean, lower=max(0.0, lower), upper=min(1.0, upper), coverage=LEVEL)
