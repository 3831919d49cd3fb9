"""Every planned question session by session, beside the verdict: whether the share differs between them."""

from collections.abc import Iterator, Mapping
from collections.abc import Set as AbstractSet

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from listening.analysis.collect import keyed_answers, session_rule
from listening.analysis.collect.session_rule import SESSION, Tables
from listening.analysis.decide import contrast, direct_answers
from listening.analysis.decide.contrast import ContrastFit
from listening.records.found.findings_sessions import QuestionSessions, SessionMean, SessionsFinding
from listening.records.found.interval import Interval
from listening.records.protocols.protocol import Protocol, Question
from listening.records.protocols.protocol_names import RATED
from stats.deciding import session_comparison
from stats.deciding.session_comparison import SessionComparison
from stats.errors import StatsError

FloatArray = NDArray[np.float64]
COVERAGE = 0.95
ONE_SESSION = "its answers were all given in one session"
RIGHT_ANSWERS = "of right and wrong answers no comparison is made"
Own = Mapping[int, pd.Series]
"""By session: each listener's own mean, and (in `attrs`) how many answers it rests on."""


def of_study(
    tables: Tables,
    protocol: Protocol,
    *,
    owed: Mapping[str, Mapping[int, int]],
    left_out: Mapping[str, AbstractSet[str]],
    models: Mapping[str, ContrastFit],
) -> SessionsFinding:
    """The sessions of a study, by question.

    Parameters
    ----------
    tables : answers of the listeners who are not excluded, each with its session
    owed : by listener, how many trials of each session have no answer
    left_out : by question, whom the rule for missed sessions leaves out
    models : by question, the explaining model over all conditions
    """
    rule = protocol.sessions
    return SessionsFinding(
        number=rule.number,
        order=rule.order,
        apart_at_least_h=rule.apart_at_least_h,
        met_at_least=rule.met_at_least or 1,
        came=tuple(sum(not own.get(s + 1) for own in owed.values()) for s in range(rule.number)),
        incomplete=tuple(name for name, own in owed.items() if own),
        questions=tuple(
            _question(tables, asked, protocol, left_out.get(asked.id, set()), models.get(asked.id))
            for asked in protocol.questions
        ),
    )


def _question(
    tables: Tables, asked: Question, protocol: Protocol, left_out: AbstractSet[str], model: ContrastFit | None
) -> QuestionSessions:
    is_rated = protocol.attribute(asked.attribute).task in RATED
    made = QuestionSessions(
        question=asked.id, unit="points" if is_rated else "share", left_out=tuple(sorted(left_out))
    )
    if asked.of_kind.by_right_answers:
        return made.model_copy(update={"note": RIGHT_ANSWERS})
    table = tables.ratings if is_rated else tables.choices
    kept = table[~table["listener"].isin(left_out)].reset_index(drop=True)
    own = dict(_rated(kept, asked) if is_rated else _chosen(kept, asked))
    if len(own) < 2:
        return made.model_copy(update={"note": ONE_SESSION})
    try:
        found = _compared(own)
    except StatsError as error:
        return made.model_copy(update={"note": str(error)})
    change = contrast.session_change(model, COVERAGE) if model is not None else None
    return made.model_copy(
        update={
            "each": tuple(
                SessionMean(
                    session=session,
                    n_listeners=found.n[i],
                    n=int(one.attrs["n"]),
                    mean=_interval(found.means[i], found.lowers[i], found.uppers[i]),
                )
                for i, (session, one) in enumerate(own.items())
            ),
            "difference": _interval(found.difference, found.lower, found.upper),
            "p": found.p,
            "method": found.method,
            "n_listeners": max(found.n) if found.method == "within listeners" else sum(found.n),
            "logit_change": None if change is None else _interval(*change),
        }
    )


def _compared(own: Own) -> SessionComparison:
    """Within listeners where enough met the question in every session, else between them."""
    everywhere = pd.concat(dict(own), axis=1).dropna()
    if len(everywhere) > len(own):
        return session_comparison.within(everywhere.to_numpy(float), coverage=COVERAGE)
    return session_comparison.between([one.to_numpy(float) for one in own.values()], coverage=COVERAGE)


def _chosen(table: pd.DataFrame, asked: Question) -> Iterator[tuple[int, pd.Series]]:
    """Own shares of choices of `more`, the pairs of a contrast weighing the same."""
    rows = keyed_answers.select(table, attribute=asked.attribute, presentation=asked.presentation)
    for session, part in rows.groupby(SESSION):
        direct = direct_answers.of_contrast(part.reset_index(drop=True), asked.contrast)
        frame = pd.DataFrame({"listener": direct.listener, "part": direct.part, "own": direct.chosen})
        if len(frame):
            own = frame.groupby(["listener", "part"])["own"].mean().groupby("listener").mean()
            own.attrs["n"] = len(frame)
            yield int(str(session)), own


def _rated(table: pd.DataFrame, asked: Question) -> Iterator[tuple[int, pd.Series]]:
    """Each listener's own points of the one above the other."""
    rows = session_rule.select_rated(table, asked)
    for session, part in rows.groupby(SESSION):
        kept = part[part["condition"].isin(asked.contrast.conditions)]
        means = kept.groupby(["listener", "condition"])["score"].mean().unstack()
        if set(asked.contrast.conditions) <= set(means):
            own = (means[asked.contrast.more] - means[asked.contrast.than]).dropna()
            own.attrs["n"] = len(kept)
            if len(own):
                yield int(str(session)), own


def _interval(value: float, lower: float, upper: float) -> Interval:
    return Interval(value=value, lower=lower, upper=upper, coverage=COVERAGE)
