"""Grades beside a hidden reference as tables: conditions, and what each listener did with the reference."""

from listening.records.found.findings_graded import GradedSet
from listening.report.rounding import limits, number, p_value, signed
from listening.report.tables.table_form import Table, p_text


def grades(found: GradedSet) -> Table:
    """Every condition, from the best grade to the worst."""
    decimals = _decimals(found)
    rows = tuple(
        (
            one.label,
            one.role,
            number(one.grade, decimals),
            *(
                "" if value is None else number(value, decimals)
                for value in (one.lower_quartile, one.median, one.upper_quartile)
            ),
            signed(one.difference.value if one.difference else None, decimals),
            limits(one.difference, decimals),
            "" if one.signed_rank_p is None else p_text(one.signed_rank_p),
            str(one.n),
        )
        for one in found.conditions
    )
    head = (
        "condition",
        "role",
        "mean grade",
        "lower quartile",
        "median",
        "upper quartile",
        "difference grade",
        "limits",
        "p, signed ranks",
        "grades",
    )
    caption = f"Grades: {found.attribute}, {found.presentation}, {found.low:g} to {found.high:g}"
    return Table(caption, head, rows, frozenset(range(2, 10)))


def ranks(found: GradedSet) -> str:
    """The test over all conditions by ranks, in a sentence; empty where it cannot be told."""
    test = found.ranks
    if test is None:
        return ""
    seen = f"chi-square {number(test.chi_square, 2)} with {test.df} degrees of freedom, p {p_value(test.p)}"
    return (
        f"By ranks within each of {test.n_listeners} listeners (Friedman): {seen}. "
        "The p of each condition is of the exact signed-rank test (Wilcoxon) of its difference grades, "
        "one mean a listener, corrected over the conditions (Holm). Both ask for no normal distribution "
        "(ITU-R BS.1534-3, statistical analysis); they describe and decide nothing."
    )


def hidden_reference(found: GradedSet) -> Table:
    """What the hidden reference says of each listener."""
    has_mid = any(one.mid_anchor_high is not None for one in found.listeners)
    is_of_100 = found.high == 100.0
    rows = tuple(
        (
            one.listener,
            str(one.n_trials),
            *((str(one.reference_low),) if is_of_100 else ()),
            *((str(one.mid_anchor_high),) if has_mid else ()),
            signed(one.mean_difference, _decimals(found)),
            "not known" if one.p is None else p_value(one.p),
            "yes" if one.excluded else "no",
        )
        for one in found.listeners
    )
    head = (
        "listener",
        "trials",
        *(("hidden reference below 90",) if is_of_100 else ()),
        *(("mid anchor above 90",) if has_mid else ()),
        "mean difference grade",
        "p, below zero",
        "left out by this",
    )
    caption = f"Post-screening by the hidden reference: {found.attribute}, {found.presentation}"
    return Table(caption, head, rows, frozenset(range(1, len(head) - 1)), frozenset({0}))


def _decimals(found: GradedSet) -> int:
    return 1 if found.high == 100.0 else 2
