"""What the answers go with, as tables: shares of what is heard, nested models, heard against measured."""

from listening.records.found.findings import Findings
from listening.records.found.findings_explained import Decomposition, HeardMeasured, JointModel, PropertyShare
from listening.records.found.interval import Interval
from listening.records.kinds import metric_register
from listening.report import rounding
from listening.report.rounding import hundred_limits, limits, number, p_value, signed
from listening.report.tables.table_form import Row, Table

LEFT_OVER = "none of these"
PLAYED_METRICS = ("laf_max_db", "centroid_hz", "t60_s")


def shares(found: Findings) -> Table:
    """Every property's share of what is heard to differ, and what none of them accounts for."""
    rows: list[Row] = []
    for d in found.decompositions:
        rows += [_share(d, s) for s in d.shares]
        if d.share_left_over is not None:
            left = (_set(d), LEFT_OVER, "", *_hundreds(d.share_left_over), "", "", "", "")
            rows.append(left)
    head = (
        "heard",
        "property",
        "measured as",
        "averaged, in 100",
        "limits",
        "by itself, in 100",
        "limits",
        "on top, in 100",
        "limits",
    )
    return Table("What is heard to differ, shared out in 100", head, tuple(rows), frozenset(range(3, 9)))


def beside(found: Findings) -> Table:
    """Shares as recorded beside those matched, for attributes asked both ways."""
    by_set = {(d.attribute, d.presentation): d for d in found.decompositions if d.shares}
    rows: list[Row] = []
    for attribute in dict.fromkeys(d.attribute for d in found.decompositions):
        both = [by_set.get((attribute, p)) for p in ("as recorded", "matched")]
        if both[0] is None or both[1] is None:
            continue
        for name in dict.fromkeys(s.name for d in both if d for s in d.shares):
            cells = [cell for d in both if d for cell in _named(d, name)]
            rows.append((attribute, name, *cells))
        rest = [cell for d in both if d for cell in _hundreds(d.share_left_over)]
        rows.append((attribute, LEFT_OVER, *rest))
    head = ("heard", "property", "as recorded, in 100", "limits", "matched, in 100", "limits")
    return Table("Averaged shares, both ways of playing", head, tuple(rows), frozenset(range(2, 6)))


def steps(found: Findings) -> Table:
    """The nested models, one property more a row."""
    rows = tuple(
        (
            _set(d),
            step.name if step.name != "everything else" else "whatever else differs",
            number(step.statistic, 1),
            str(step.df),
            number(step.df_units, 0),
            p_value(step.p).removeprefix("= "),
        )
        for d in found.decompositions
        for step in d.steps
    )
    head = ("heard", "added", "gain", "degrees of freedom", "spare", "p")
    return Table("One more property at a time", head, rows, frozenset(range(2, 6)))


def heard(found: Findings) -> Table:
    """Heard strengths against each measured value, best predictor first."""
    ordered = sorted(found.heard_measured, key=lambda h: (h.attribute, h.presentation, h.left_out_error))
    head = (
        "heard",
        "measured as",
        "error left out",
        "of all tried",
        "behind the best",
        "limits",
        "slope",
        "limits",
        "step",
        "correlation",
        "limits",
    )
    numeric = frozenset({2, 4, 5, 6, 7, 9, 10})
    return Table(
        "Predicting each condition from the others, log-odds", head, tuple(map(_line, ordered)), numeric
    )


def joint(found: Findings) -> Table:
    """Level, brightness and decay together."""
    rows = tuple(
        (
            _set(j),
            s.name,
            metric_register.named(s.metric).name,
            signed(s.slope.value),
            limits(s.slope),
            s.per,
            number(j.left_out_error),
        )
        for j in found.joint_models
        for s in j.slopes
    )
    head = ("heard", "property", "measured as", "slope", "limits", "step", "error left out")
    return Table("All three properties in one line", head, rows, frozenset({3, 4, 6}))


def played(found: Findings) -> Table:
    """Measured values as played, with limits over strikes, of the metrics that the figures show."""
    shown = {h.metric for h in found.heard_measured if h.is_best} | set(PLAYED_METRICS)
    heard_as = {h.presentation for h in found.heard_measured}
    rows = tuple(
        (
            p.label,
            p.presentation,
            metric_register.named(p.metric).heading,
            number(p.mean.value, metric_register.named(p.metric).decimals),
            limits(p.mean, metric_register.named(p.metric).decimals),
        )
        for p in found.played
        if p.metric in shown and p.presentation in heard_as
    )
    head = ("condition", "played", "measured as", "mean", "limits")
    return Table("As played, over strikes", head, rows, frozenset({3, 4}))


def _set(one: Decomposition | HeardMeasured | JointModel) -> str:
    return f"{one.attribute}, {one.presentation}"


def _share(d: Decomposition, s: PropertyShare) -> Row:
    return (
        _set(d),
        s.name,
        metric_register.named(s.metric).name,
        *_hundreds(s.share_averaged),
        *_hundreds(s.share_alone),
        *_hundreds(s.share_on_top),
    )


def _named(d: Decomposition, name: str) -> tuple[str, str]:
    share = next((s.share_averaged for s in d.shares if s.name == name), None)
    return _hundreds(share) if share is not None else ("held equal", "")


def _hundreds(share: Interval | None) -> tuple[str, str]:
    return (rounding.hundreds(share.value), hundred_limits(share)) if share is not None else ("–", "–")


def _line(h: HeardMeasured) -> Row:
    slope = h.slope_both or h.slope
    behind = "smallest" if h.is_best else "worse" if h.told_from_best else ""
    return (
        _set(h),
        metric_register.named(h.metric).name,
        number(h.left_out_error),
        behind if h.told_from_best is not False else "not clearly worse",
        number(h.behind_best.value) if h.behind_best else "",
        limits(h.behind_best) if h.behind_best else "",
        signed(slope.value),
        limits(slope),
        h.per,
        number(h.correlation.value),
        limits(h.correlation),
    )
