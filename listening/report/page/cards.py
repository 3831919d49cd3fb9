"""One card for each verdict, questions first, then superlatives."""

from dataclasses import dataclass
from functools import partial

from listening.records.findings import Findings, QuestionFinding, SuperlativeFinding
from listening.report.figures import figures
from listening.report.page import reasons, style
from listening.report.sentences import ratio_sentences, sentences
from listening.report.sentences import wordings_to_leave_out as left_out
from listening.report.sentences.wordings_to_leave_out import LeftOut
from listening.report.tables import finding_tables


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
    left_out: tuple[LeftOut, ...]
    figure: str
    factor: str
    """The sentence on a planned factor; empty without one."""
    factor_word: str
    factor_footnote: str
    why: str
    flips: str


@dataclass(frozen=True)
class SuperlativeCard:
    """One planned superlative as the page shows it."""

    s: SuperlativeFinding
    ink: str
    ground: str
    mark: str
    sentence: str
    footnote: str
    comparisons: finding_tables.Table


def of_questions(found: Findings) -> list[Card]:
    """The cards of the planned questions, in their order."""
    return [_card(i, q, found) for i, q in enumerate(found.questions)]


def of_superlatives(found: Findings) -> list[SuperlativeCard]:
    """The cards of the planned superlatives, in their order."""
    return [
        SuperlativeCard(
            s,
            *style.VERDICT[s.word],
            sentence=sentences.superlative(s, found),
            footnote=sentences.superlative_footnote(s, found),
            comparisons=finding_tables.superlative(s),
        )
        for s in found.superlatives
    ]


def _card(i: int, q: QuestionFinding, found: Findings) -> Card:
    ink, ground, mark = style.VERDICT[q.word]
    figure = ""
    if q.share is not None:
        title = f"{sentences.ask(q, found)} {sentences.happened(q, found)}"
        figure = figures.svg(
            partial(figures.verdict_scale, q=q),
            name=f"scale{i}",
            title=title,
            height_in=figures.scale_height_in(q),
            width_in=figures.CARD_IN,
        )
    return Card(
        q=q,
        ink=ink,
        ground=ground,
        mark=mark,
        ask=sentences.ask(q, found),
        sentence=sentences.printable(q, found),
        footnote=sentences.footnote(q, found),
        left_out=(*left_out.of_question(q, found), *left_out.of_factor(q)),
        factor=ratio_sentences.printable(q, found),
        factor_word=q.factor.word if q.factor else "",
        factor_footnote=ratio_sentences.footnote(q, found),
        figure=figure,
        why=reasons.of(q, found),
        flips="; ".join(f"{s.name}: {s.word}" for s in q.sensitivity if s.agrees is False),
    )
