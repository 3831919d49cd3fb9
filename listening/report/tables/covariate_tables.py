"""Planned covariates of listeners as a table."""

from listening.records.found.findings import Findings
from listening.report import rounding
from listening.report.tables.table_form import Row, Table


def of_listeners(found: Findings) -> Table | None:
    """Own shares by what listeners said of themselves; None where it was not planned."""
    if not found.listener_covariates:
        return None
    rows: tuple[Row, ...] = tuple(
        (
            one.question,
            one.wording,
            group.answer,
            str(group.n_listeners),
            rounding.in_hundred(group.share.value if group.share else None),
            rounding.hundred_limits(group.share),
            rounding.p_value(one.p) if i == 0 else "",
        )
        for one in found.listener_covariates
        for i, group in enumerate(one.groups)
    )
    head = ("question", "asked of listeners", "answer", "listeners", "chosen in 100", "limits", "p")
    return Table("Planned covariates of listeners", head, rows, frozenset({3, 4, 5, 6}))
