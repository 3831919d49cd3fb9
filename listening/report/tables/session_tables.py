"""The sessions of a study: every planned question session by session, and who was left out, in words."""

from listening.records.found.findings import Findings
from listening.records.found.findings_sessions import QuestionSessions, SessionsFinding
from listening.records.found.interval import Interval
from listening.report.rounding import limits, number, p_value, signed
from listening.report.tables.table_form import Table

HEAD = (
    *("question", "session", "listeners", "answers", "mean", "limits"),
    *("last less first", "limits of that", "p, all alike", "compared", "change, log-odds"),
)


def questions(found: SessionsFinding) -> Table:
    """A row a question and session; the comparison stands in the last session's row."""
    rows = tuple(row for one in found.questions for row in _rows(one))
    caption = "Session by session: the share of choices of the first, or its points of the scale above"
    return Table(caption, HEAD, rows, frozenset({1, 2, 3, 4, 5, 6, 7, 8, 10}))


def _rows(one: QuestionSessions) -> list[tuple[str, ...]]:
    decimals = 2 if one.unit == "share" else 1
    rows = []
    for each in one.each:
        is_last = each is one.each[-1]
        own = (str(each.session), str(each.n_listeners), str(each.n))
        mean = (number(each.mean.value, decimals), limits(each.mean, decimals))
        rows.append((one.question, *own, *mean, *(_compared(one, decimals) if is_last else ("",) * 5)))
    return rows


def _compared(one: QuestionSessions, decimals: int) -> tuple[str, ...]:
    p = "not known" if one.p is None else p_value(one.p)
    return (*_signed(one.difference, decimals), p, one.method, _signed(one.logit_change, 2)[0])


def _signed(made: Interval | None, decimals: int) -> tuple[str, str]:
    return ("", "") if made is None else (signed(made.value, decimals), limits(made, decimals))


def lines(found: Findings) -> list[str]:
    """Who came, the planned rule and whom it left out, and what cannot be compared."""
    made = found.sessions
    if made is None:
        return []
    came = ", ".join(f"{n} session {i}" for i, n in enumerate(made.came, start=1))
    apart = f", at least {made.apart_at_least_h:g} hours apart" if made.apart_at_least_h else ""
    said = [
        f"Each listener was asked to come to {made.number} sessions{apart}, under one code. Of "
        f"{found.panel.n_listeners} listeners these answered all of a session: {came}.",
        *_rule(made),
    ]
    notes = [(one.question, one.note) for one in made.questions if one.note]
    return [*said, *(f"{question}: not compared by session, because {note}." for question, note in notes)]


def _rule(made: SessionsFinding) -> list[str]:
    if not made.incomplete:
        return ["Nobody missed a session."]
    out = [(one.question, one.left_out) for one in made.questions if one.left_out]
    said = (
        f"{', '.join(made.incomplete)} missed a session in whole or in part. Planned before the data: who "
        "did decides a question only after having met each of its pairs (or rated conditions) at least "
        f"{made.met_at_least} times."
    )
    if not out:
        return [f"{said} All of them had; nobody was left out for it."]
    whom = "; ".join(f"{question}: {', '.join(names)}" for question, names in out)
    return [f"{said} Left out for it: {whom}."]
