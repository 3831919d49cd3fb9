"""The study around the questions, as tables: listeners, conditions, stimuli, hashes."""

from listening.records.forms.text import plain
from listening.records.found.findings import Findings
from listening.records.found.findings_study import ConditionMeasure
from listening.records.kinds import metric_register
from listening.report.page import course
from listening.report.rounding import in_hundred, number, signed
from listening.report.tables.table_form import Table

CONDITIONS_A_TABLE = 8
REMARKS_SHOWN = 200


def counts(found: Findings) -> Table:
    """What a table collected elsewhere holds of each question."""
    rows = tuple(
        (q.id, str(q.n_listeners or "–"), f"{q.n_direct_more} of {q.n_direct}") for q in found.questions
    )
    return Table(
        "Counts", ("question", "listeners", "chosen, of direct comparisons"), rows, frozenset({1, 2})
    )


def said(found: Findings) -> Table | None:
    """What listeners wrote, the first so many; None where nobody wrote anything."""
    if not found.remarks:
        return None
    rows = tuple((one.listener, one.about, plain(one.text)) for one in found.remarks[:REMARKS_SHOWN])
    more = len(found.remarks) - len(rows)
    caption = f"Comments (the first {REMARKS_SHOWN}; {more} more in the export)" if more else "Comments"
    return Table(caption, ("listener", "about", "comment"), rows)


def rooms(found: Findings) -> Table | None:
    """Each room as it was noted; None where nothing was."""
    if not found.rooms:
        return None
    rows = tuple((plain(one.room), str(one.n_begun)) for one in found.rooms)
    return Table("Room", ("noted", "sittings begun or gone on with"), rows, frozenset({1}))


def listeners(found: Findings) -> Table:
    """The panel and what the screening saw."""
    rows = tuple(
        (
            one.listener + (" (simulated)" if one.simulated else ""),
            str(one.n_answers),
            "–" if one.controls_asked is None else f"{one.controls_right} of {one.controls_asked}",
            in_hundred(one.first_share),
            number(one.median_response_s, 1),
            in_hundred(one.repeats_agreed),
            "; ".join(one.flags),
            one.excluded_because or "no",
        )
        for one in found.panel.listeners
    )
    head = (
        "listener",
        "answers",
        "control pairs right",
        "first chosen, in 100",
        "median time, s",
        "repeats alike, in 100",
        "remarks",
        "excluded",
    )
    return Table("Panel", head, rows, frozenset({1, 2, 3, 4, 5}))


def conditions(found: Findings) -> tuple[Table, ...]:
    """Measured values, one metric a row; a table for each handful of conditions, so that it fits on paper."""
    cell = {(c.condition, c.metric): c for c in found.conditions}
    label = {c.condition: c.label for c in found.conditions}
    metrics = list(dict.fromkeys(c.metric for c in found.conditions))
    names = list(label)
    made = []
    for start in range(0, len(names), CONDITIONS_A_TABLE):
        part = names[start : start + CONDITIONS_A_TABLE]
        rows = tuple(
            (metric_register.named(metric).heading, *(_measured(cell.get((name, metric))) for name in part))
            for metric in metrics
        )
        head = ("measured", *(label[name] for name in part))
        caption = f"Measured: {label[part[0]]} to {label[part[-1]]}" if len(part) > 1 else "Measured"
        made.append(Table(caption, head, rows, frozenset(range(1, len(head)))))
    return tuple(made)


def _measured(one: ConditionMeasure | None) -> str:
    """Mean and expanded uncertainty."""
    if one is None:
        return "–"
    decimals = metric_register.named(one.metric).decimals
    mean = number(one.mean, decimals)
    if one.expanded_uncertainty is None:
        return mean
    return f"{mean} ± {number(one.expanded_uncertainty, decimals)}"


def stimuli(found: Findings) -> Table:
    """Every stimulus as it was played."""
    listed = [m for m in ("laf_max_db", "lae_db", "centroid_hz", "t60_s") if _has(found, m)]
    rows = tuple(
        (
            s.stimulus,
            s.presentation,
            signed(s.gain_db, 2),
            signed(s.residual_db, 3),
            *(number(s.after.get(m), metric_register.named(m).decimals) for m in listed),
            s.digest[:12],
        )
        for s in found.matching.stimuli
    )
    head = (
        "stimulus",
        "presentation",
        "gain, dB",
        "residual",
        *(metric_register.named(m).heading for m in listed),
        "hash",
    )
    n = len(head)
    return Table("Stimuli as played", head, rows, frozenset(range(2, n - 1)), frozenset({n - 1}))


def hashes(found: Findings) -> Table:
    """What ties the page to its data."""
    digests = found.digests.model_dump()
    rows = [*course.rows(found), *((name, value) for name, value in digests.items() if value)]
    rows += list(found.sources.items())
    rows += [(f"version of {name}", value) for name, value in found.method.versions.items()]
    return Table("SHA-256 and versions", ("of", "value"), tuple(rows), mono=frozenset({1}))


def _has(found: Findings, metric: str) -> bool:
    return any(s.after.get(metric) is not None for s in found.matching.stimuli)
