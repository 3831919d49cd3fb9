"""What findings tell of sessions: who came, whom the planned rule left out, how sessions differ."""

from typing import Literal

from listening.records.forms.form import Form
from listening.records.found.interval import Interval


class SessionMean(Form):
    """One session of one question."""

    session: int
    n_listeners: int
    n: int
    """Answers."""
    mean: Interval
    """Share of choices over listeners; for ratings, points of the scale."""


class QuestionSessions(Form):
    """One planned question, session by session; it explains and decides nothing."""

    question: str
    unit: Literal["share", "points"]
    each: tuple[SessionMean, ...] = ()
    difference: Interval | None = None
    """Last session less the first."""
    p: float | None = None
    """Whether sessions are alike, two-sided; null where nothing tells."""
    method: Literal["within listeners", "between listeners", "none"] = "none"
    n_listeners: int = 0
    """Whom the comparison rests on."""
    logit_change: Interval | None = None
    """Last session less the first by the explaining model, log-odds of the contrast."""
    note: str = ""
    """Why there is no comparison."""
    left_out: tuple[str, ...] = ()
    """Listeners who missed a session and met a pair of the question too rarely to count."""


class SessionsFinding(Form):
    """The sessions of a study."""

    number: int
    order: Literal["balanced", "fixed"]
    apart_at_least_h: float
    met_at_least: int
    came: tuple[int, ...]
    """How many listeners answered all of each session."""
    incomplete: tuple[str, ...] = ()
    """Listeners whose last sessions are missing, in whole or in part."""
    questions: tuple[QuestionSessions, ...] = ()
