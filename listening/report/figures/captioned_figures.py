"""The page's figures with their captions and tables: strengths, listeners, heard against measured."""

from dataclasses import dataclass
from functools import partial

from listening.records.found.findings import Findings, StrengthSet
from listening.records.found.findings_explained import Decomposition
from listening.records.found.findings_question import QuestionFinding
from listening.records.found.interval import Interval
from listening.records.kinds import metric_register
from listening.report import rounding
from listening.report.figures import figures
from listening.report.sentences import sentences
from listening.report.tables import heard_tables, model_tables
from listening.report.tables.table_form import Table

SCATTER_METRICS = ("centroid_hz", "t60_s")


@dataclass(frozen=True)
class Shown:
    """A figure with its caption."""

    figure: str
    caption: str


@dataclass(frozen=True)
class StrengthsShown:
    """Strengths of one attribute and presentation as the page shows them."""

    found: StrengthSet
    heading: str
    figure: str
    level: str
    note: str
    table: Table


def of_strengths(found: Findings) -> list[StrengthsShown]:
    """Each set of strengths as figure and table."""
    return [_strengths(i, one) for i, one in enumerate(found.strengths)]


def of_effects(found: Findings) -> list[Shown]:
    """All planned contrasts in one figure; none where nothing was decided by choices."""
    asked = [q for q in found.questions if q.share is not None and not q.of_kind.by_right_answers]
    if not asked:
        return []
    title = "Every planned contrast: how often the first was chosen, with limits; solid rule: even chances"
    draw = partial(figures.forest, asked=asked)
    figure = figures.svg(draw, name="effects", title=title, height_in=0.75 + 0.34 * len(asked))
    return [Shown(figure, f"{title}; numbers in the table.")]


def of_listeners(found: Findings) -> list[Shown]:
    """Each question's listeners, one dot each."""
    return [_listeners(i, q, found) for i, q in enumerate(found.questions) if q.listeners]


def of_shares(found: Findings) -> list[Shown]:
    """For each attribute, how much level, brightness and decay account for, one mark a way of playing."""
    shown = []
    for i, attribute in enumerate(dict.fromkeys(d.attribute for d in found.decompositions if d.shares)):
        sets = [d for d in found.decompositions if d.attribute == attribute and d.shares]
        rows = [(d.presentation, _share_rows(d)) for d in sets]
        n_names = len(dict.fromkeys(name for _, some in rows for name, _ in some))
        title = f"{attribute[:1].upper()}{attribute[1:]}: what is heard to differ, shared out"
        figure = figures.svg(
            partial(figures.shares, sets=rows), name=f"share{i}", title=title, height_in=0.75 + 0.36 * n_names
        )
        shown.append(Shown(figure, f"{title}; numbers in the table."))
    return shown


def of_heard(found: Findings) -> list[Shown]:
    """Heard strength over the metric that predicts best and the usual ones, for sets of three conditions."""
    shown = []
    for i, one in enumerate(found.strengths):
        for metric in _metrics(found, one):
            points = _points(found, one, metric)
            if len(points) < 3:
                continue
            heading = metric_register.named(metric).heading
            title = f"Heard {one.attribute}, {one.presentation}, over {heading}"
            draw = partial(figures.scatter, points=points, xlabel=heading)
            figure = figures.svg(draw, name=f"heard{i}{metric}", title=title, height_in=2.9)
            shown.append(
                Shown(figure, f"{title}; numbers in the tables of strengths and of values as played.")
            )
    return shown


def _share_rows(d: Decomposition) -> list[tuple[str, Interval]]:
    rows: list[tuple[str, Interval]] = [(s.name, s.share_averaged) for s in d.shares]
    return rows if d.share_left_over is None else [*rows, (heard_tables.LEFT_OVER, d.share_left_over)]


def _metrics(found: Findings, one: StrengthSet) -> tuple[str, ...]:
    best = (
        h.metric
        for h in found.heard_measured
        if h.is_best and (h.attribute, h.presentation) == (one.attribute, one.presentation)
    )
    return tuple(dict.fromkeys([*best, *SCATTER_METRICS]))[: len(SCATTER_METRICS)]


def _strengths(i: int, one: StrengthSet) -> StrengthsShown:
    heading = f"{one.attribute[:1].upper()}{one.attribute[1:]}, {one.presentation}"
    figure = figures.svg(
        partial(figures.strengths, found=one),
        name=f"strength{i}",
        title=f"Strengths of the conditions in {heading}; the table below holds the same numbers",
        height_in=0.75 + 0.32 * max(len(one.strengths), 1),
    )
    coverage = rounding.level(one.strengths[0].strength.coverage) if one.strengths else ""
    return StrengthsShown(one, heading, figure, coverage, one.note, model_tables.strengths(one))


def _listeners(i: int, q: QuestionFinding, found: Findings) -> Shown:
    ask = sentences.ask(q, found)
    figure = figures.svg(
        partial(figures.listeners, q=q),
        name=f"listeners{i}",
        title=f"Own shares of {q.n_listeners} listeners, as counted, beside the panel’s: {ask}",
        height_in=2.1,
    )
    return Shown(figure, ask)


def _points(found: Findings, one: StrengthSet, metric: str) -> list[tuple[str, Interval, Interval]]:
    """Label, strength and value as played of each condition; from the recordings in older findings."""
    measured = {
        c.condition: Interval(value=c.mean, lower=None, upper=None, coverage=1.0)
        for c in found.conditions
        if c.metric == metric
    }
    measured |= {
        p.condition: p.mean for p in found.played if (p.presentation, p.metric) == (one.presentation, metric)
    }
    tail = _common_tail([s.label for s in one.strengths])
    return [
        (s.label.removesuffix(tail), s.strength, measured[s.condition])
        for s in one.strengths
        if s.condition in measured
    ]


def _common_tail(labels: list[str]) -> str:
    """What all labels end with, from a space on, such as ` (hung free)`; a figure can leave it out."""
    tail = labels[0][labels[0].find(" (") :] if labels and " (" in labels[0] else ""
    return tail if tail and all(label.endswith(tail) for label in labels) else ""
