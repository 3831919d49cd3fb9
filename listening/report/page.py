"""The report page: findings in, one self-contained HTML text out."""

import base64
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import jinja2

from listening.records.findings import Findings, Interval, QuestionFinding, StimulusRow, StrengthSet
from listening.report import figures, method_words, metric_words, rounding, sentences, style, tables, traces

HERE = Path(__file__).parent
CONTENTS = (
    ("verdicts", "Verdicts"),
    ("effects", "Effects"),
    ("strengths", "Strengths"),
    ("level", "Level, brightness, decay"),
    ("listeners", "Listeners"),
    ("measured", "Measured"),
    ("stimuli", "Stimuli"),
    ("method", "Method"),
    ("deviations", "Deviations"),
    ("cautions", "Cautions"),
    ("hashes", "Hashes"),
)
CLIPS_LIMIT_BYTES = 3_000_000  # a third more once written as text
SCATTER_METRICS = ("centroid_hz", "t60_s")


@dataclass(frozen=True)
class Card:
    """One verdict as the page shows it."""

    q: QuestionFinding
    ink: str
    ground: str
    mark: str
    ask: str
    sentence: str
    footnote: str
    not_borne: tuple[sentences.NotBorne, ...]
    figure: str
    why: str
    flips: str


def render(found: Findings, *, stimuli: Path | None = None, strokes: Sequence[traces.Stroke] = ()) -> str:
    """The whole page.

    Parameters
    ----------
    stimuli : folder of the prepared stimuli, to embed one stroke of each condition; None leaves them out
    strokes : curves of one stroke of each condition, from `traces.load`
    """
    return (
        environment()
        .get_template("page.html.jinja")
        .render(
            f=found,
            css=(HERE / "page.css").read_text(encoding="utf-8"),
            contents=CONTENTS,
            cards=[_card(i, q, found) for i, q in enumerate(found.questions)],
            superlatives=[
                (
                    s,
                    style.VERDICT[s.word],
                    sentences.superlative(s, found),
                    sentences.superlative_footnote(s, found),
                    tables.superlative(s),
                )
                for s in found.superlatives
            ],
            effects=tables.effects(found),
            spread=tables.spread(found),
            sensitivity=tables.sensitivity(found),
            level_checks=tables.level_checks(found),
            strength_sets=[_strengths(i, s) for i, s in enumerate(found.strengths)],
            slopes=tables.slopes(found),
            side_by_side=tables.side_by_side(found) if found.side_by_side else None,
            explanations=tables.explanations(found),
            unexplained=[
                f"No slopes for {e.attribute}, {e.presentation}: {e.note}."
                for e in found.explanations
                if not e.slopes
            ],
            heard=_heard(found),
            heard_table=tables.heard(found),
            listener_figures=[_listeners(i, q) for i, q in enumerate(found.questions) if q.listeners],
            listeners=tables.listeners(found),
            conditions=tables.conditions(found),
            trace_figures=[Shown(*made) for made in traces.figure_list(strokes)],
            matching=method_words.matching(found),
            clips=_clips(found, stimuli),
            stimuli=tables.stimuli(found),
            method=method_words.method(found),
            deviations=method_words.deviations(found),
            cautions=method_words.cautions(found),
            hashes=tables.hashes(found),
            level=rounding.level,
            in_hundred=rounding.in_hundred,
            number=rounding.number,
        )
    )


def environment() -> jinja2.Environment:
    """Where the templates of this folder are filled in."""
    return jinja2.Environment(
        loader=jinja2.FileSystemLoader(HERE),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def _card(i: int, q: QuestionFinding, found: Findings) -> Card:
    ink, ground, mark = style.VERDICT[q.word]
    figure = ""
    if q.share is not None:
        title = f"{q.more_label} was chosen {sentences.shares(q)}"
        figure = figures.svg(
            partial(figures.verdict_scale, q=q), name=f"scale{i}", title=title, height_in=0.95
        )
    return Card(
        q=q,
        ink=ink,
        ground=ground,
        mark=mark,
        ask=tables.ask(q),
        sentence=sentences.printable(q, found),
        footnote=sentences.footnote(q, found),
        not_borne=sentences.not_borne(q),
        figure=figure,
        why=metric_words.in_words(q.reason),
        flips="; ".join(f"{s.name}: {s.word}" for s in q.sensitivity if s.agrees is False),
    )


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
    table: tables.Table


def _strengths(i: int, one: StrengthSet) -> StrengthsShown:
    heading = f"{one.attribute[:1].upper()}{one.attribute[1:]}, {one.presentation}"
    figure = figures.svg(
        partial(figures.strengths, found=one),
        name=f"strength{i}",
        title=f"Strengths of the conditions in {heading}; the table below holds the same numbers",
        height_in=0.75 + 0.32 * max(len(one.strengths), 1),
    )
    coverage = rounding.level(one.strengths[0].strength.level) if one.strengths else ""
    return StrengthsShown(one, heading, figure, coverage, one.note, tables.strengths(one))


def _listeners(i: int, q: QuestionFinding) -> Shown:
    figure = figures.svg(
        partial(figures.listeners, q=q),
        name=f"listeners{i}",
        title=f"Own effects of {len(q.listeners)} listeners: {tables.ask(q)}",
        height_in=2.1,
    )
    return Shown(
        figure,
        f"{tables.ask(q)} Each dot is one listener’s own effect, drawn towards the mean by the model; "
        "dashed: the smallest effect planned to matter.",
    )


def _heard(found: Findings) -> list[Shown]:
    """Heard strength over each measured metric, for sets of three conditions or more."""
    shown = []
    for i, one in enumerate(found.strengths):
        for metric in SCATTER_METRICS:
            points = _points(found, one, metric)
            if len(points) < 3:
                continue
            heading = metric_words.of(metric).heading
            title = f"Heard {one.attribute}, {one.presentation}, over {heading}"
            draw = partial(figures.scatter, points=points, xlabel=heading)
            figure = figures.svg(draw, name=f"heard{i}{metric}", title=title, height_in=2.9)
            shown.append(
                Shown(figure, f"{title}; numbers in the tables of strengths and of measured values.")
            )
    return shown


def _points(found: Findings, one: StrengthSet, metric: str) -> list[tuple[str, Interval, float]]:
    measured = {c.condition: c.mean for c in found.conditions if c.metric == metric}
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


@dataclass(frozen=True)
class Clip:
    """One stimulus to play on the page."""

    label: str
    presentation: str
    data: str
    """FLAC file, base64."""


def _clips(found: Findings, folder: Path | None) -> list[Clip]:
    """The first stroke of each condition in each presentation, while all of them stay below the limit."""
    if folder is None:
        return []
    labels = {c.condition: c.label for c in found.conditions}
    first: dict[tuple[str, str], StimulusRow] = {}
    for s in found.matching.stimuli:
        if (folder / s.file).is_file():
            first.setdefault((s.condition, s.presentation), s)
    files = {place: (folder / s.file).read_bytes() for place, s in first.items()}
    if sum(map(len, files.values())) > CLIPS_LIMIT_BYTES:
        files = {place: data for place, data in files.items() if place[1] != "as recorded"}
    if sum(map(len, files.values())) > CLIPS_LIMIT_BYTES:
        return []
    return [
        Clip(labels.get(condition, condition), presentation, base64.b64encode(data).decode())
        for (condition, presentation), data in files.items()
    ]
