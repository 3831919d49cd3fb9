"""What the models over all conditions describe, as tables."""

from listening.records.found.findings import Findings, StrengthSet
from listening.records.kinds import metric_register
from listening.report import rounding
from listening.report.rounding import in_hundred, limits, signed
from listening.report.tables.table_form import Row, Table, hundred_limits, p_text, without_empty_note


def strengths(found: StrengthSet) -> Table:
    """Strengths of one attribute and presentation."""
    ordered = sorted(found.strengths, key=lambda s: -s.strength.value)
    ties = any(s.n_no_difference for s in ordered)
    rows = tuple(
        (
            s.label,
            rounding.in_hundred_of_logit(s.strength.value, 1),
            rounding.shares_of(s.strength),
            str(s.n_chosen),
            *((str(s.n_no_difference),) if ties else ()),
            str(s.n),
        )
        for s in ordered
    )
    caption = f"Strengths: {found.attribute}, {found.presentation}"
    head = (
        "condition",
        "chosen in 100, against the set’s average",
        "limits",
        "times chosen",
        *(("no difference",) if ties else ()),
        "times heard",
    )
    return Table(caption, head, rows, frozenset(range(1, len(head))))


def slopes(found: Findings) -> Table:
    """What one decibel of level alone does to each answer."""
    rows = tuple(
        (
            s.attribute,
            signed(s.slope.value if s.slope else None, 3),
            limits(s.slope, 3),
            "–" if s.bend is None else signed(s.bend, 3),
            "–" if s.linearity_p is None else p_text(s.linearity_p),
            s.source,
            str(s.n_answers),
            str(s.n_listeners),
        )
        for s in found.level_slopes
    )
    head = (
        "answer to",
        "log-odds per dB",
        "limits",
        "change per dB",
        "straight? p",
        "from",
        "answers",
        "listeners",
    )
    caption = (
        f"Level slope with {rounding.level(found.method.slope_coverage)} limits, and whether one slope holds "
        "at every size of difference"
    )
    return Table(caption, head, rows, frozenset({1, 2, 3, 4, 6, 7}))


def side_by_side(found: Findings) -> Table:
    """Planned contrasts under both presentations, without level correction."""
    rows = tuple(
        (
            one.question,
            in_hundred(rounding.as_share(one.as_recorded.value if one.as_recorded else None)),
            rounding.shares_of(one.as_recorded),
            in_hundred(rounding.as_share(one.matched.value if one.matched else None)),
            rounding.shares_of(one.matched),
            in_hundred(one.explained_by_level.value) if one.explained_by_level else "left open",
            hundred_limits(one.explained_by_level),
            one.note,
        )
        for one in found.side_by_side
    )
    head = (
        "question",
        "as recorded",
        "limits",
        "matched",
        "limits",
        "gone with level, in 100",
        "limits",
        "note",
    )
    made = Table(
        "Planned contrasts as recorded and matched, chosen in 100", head, rows, frozenset({1, 2, 3, 4, 5, 6})
    )
    return without_empty_note(made)


def explanations(found: Findings) -> Table:
    """Slopes on measured properties."""
    rows: list[Row] = [
        (
            f"{e.attribute}, {e.presentation}",
            s.name,
            metric_register.named(s.metric).name,
            s.per,
            signed(s.slope.value),
            limits(s.slope),
            p_text(s.p),
            signed(s.alone.value if s.alone else None),
            limits(s.alone),
            e.note,
        )
        for e in found.explanations
        for s in e.slopes
    ]
    head = (
        "answers",
        "property",
        "measured as",
        "step",
        "together",
        "limits",
        "p",
        "alone",
        "limits",
        "note",
    )
    made = Table("Log-odds for one step of each property", head, tuple(rows), frozenset({4, 5, 6, 7, 8}))
    return without_empty_note(made)
