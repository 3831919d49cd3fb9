"""One card for each planned question and superlative: its sentence, its figure, its two sounds."""

from dataclasses import dataclass
from functools import partial

from listening.records.found.findings import Findings, SuperlativeFinding
from listening.records.found.findings_question import QuestionFinding
from listening.records.kinds import metric_register
from listening.report.figures import figures
from listening.report.page import reasons, style
from listening.report.rounding import number
from listening.report.sentences import forms, language, ratio_sentences, sentences, slots
from listening.report.sentences import wordings_to_leave_out as left_out
from listening.report.sentences.form import Form
from listening.report.sentences.wordings_to_leave_out import LeftOut
from listening.report.tables import finding_tables
from listening.report.tables.table_form import Table

MEASURED = ("loudness_level_phon", "laf_max_db", "sharpness_acum", "decay_s")  # of the pair, on its card


@dataclass(frozen=True)
class Card:
    """One planned question as the page shows it."""

    q: QuestionFinding
    mark: str
    ask: str
    sentence: str
    footnote: str
    is_printable: bool
    others: tuple[Form, ...]
    """Headline, long form, and the forms in other languages."""
    left_out: tuple[LeftOut, ...]
    figure: str
    caption: str
    measured: tuple[str, ...]
    """The two as played, one line a metric."""
    factor: str
    """The sentence on a planned ratio; empty without one."""
    factor_word: str
    factor_footnote: str
    is_factor_printable: bool
    why: str
    flips: str


@dataclass(frozen=True)
class SuperlativeCard:
    """One planned superlative as the page shows it."""

    s: SuperlativeFinding
    mark: str
    sentence: str
    footnote: str
    is_printable: bool
    others: tuple[Form, ...]
    left_out: tuple[LeftOut, ...]
    comparisons: Table


def of_questions(found: Findings) -> list[Card]:
    """The cards of the planned questions, in their order."""
    return [_card(i, q, found) for i, q in enumerate(found.questions)]


def of_superlatives(found: Findings) -> list[SuperlativeCard]:
    """The cards of the planned superlatives, in their order."""
    return [_superlative(s, found) for s in found.superlatives]


def _superlative(s: SuperlativeFinding, found: Findings) -> SuperlativeCard:
    made = [form for words in language.known() for form in forms.of_superlative(s, found, words)]
    return SuperlativeCard(
        s,
        style.VERDICT[s.word][2],
        sentence=sentences.superlative(s, found),
        footnote=sentences.superlative_footnote(s, found),
        is_printable=bool(made),
        others=_others(made),
        left_out=left_out.of_superlative(s),
        comparisons=finding_tables.superlative(s),
    )


def _card(i: int, q: QuestionFinding, found: Findings) -> Card:
    made = [form for words in language.known() for form in forms.of_question(q, found, words)]
    figure, caption = _figure(i, q, found)
    return Card(
        q=q,
        mark=style.VERDICT[q.word][2],
        ask=sentences.ask(q, found),
        sentence=sentences.printable(q, found),
        footnote=sentences.footnote(q, found),
        is_printable=bool(made),
        others=_others(made),
        left_out=(*left_out.of_question(q, found), *left_out.of_factor(q)),
        factor=ratio_sentences.printable(q, found),
        factor_word=q.claimed_ratio.word if q.claimed_ratio else "",
        factor_footnote=ratio_sentences.footnote(q, found),
        is_factor_printable=any(forms.of_factor(q, found, language.of(language.ENGLISH))),
        figure=figure,
        caption=caption,
        measured=tuple(_measured(q, found)),
        why=_why(q, found),
        flips="; ".join(f"{s.name}: {s.word}" for s in q.sensitivity if s.agrees is False),
    )


def _why(q: QuestionFinding, found: Findings) -> str:
    """The reason, and each pair of a contrast of several as it was asked."""
    words = language.of(language.ENGLISH)
    pairs = [
        f"{one.than_label} against {one.more_label} {slots.in_hundred(1 - one.share, words)}"
        if one.is_turned
        else f"{one.more_label} against {one.than_label} {slots.in_hundred(one.share, words)}"
        for one in q.parts
    ]
    told = f". Pair by pair, choices in 100: {'; '.join(pairs)}" if pairs else ""
    late = next((one for one in found.stages if one.stage == q.stage), None)
    if late is not None:
        told += (
            f". Planned with stage {late.stage}, which was added on {late.at[:10]}; its {late.n_listeners} "
            "listeners alone decide it"
        )
    if q.among:
        told += f". Decided by {q.n_listeners} of {q.n_panel} listeners, {q.among}; the others do not enter"
    return f"{reasons.of(q, found)}{told}"


def _figure(i: int, q: QuestionFinding, found: Findings) -> tuple[str, str]:
    """The pair's own figure and what is to be seen on it; empty where there is no share."""
    if q.share is None:
        return "", ""
    dots = "Each small dot is one listener, at the share counted. " if figures.own_shares(q) else ""
    planned = "; dashed: the smallest share planned to matter" if q.unit == "share" else ""
    even = "even chances" if q.guess is None else "guessing"
    caption = f"{dots}Below, the panel’s estimate and its limits. Solid rule: {even}{planned}."
    done = sentences.happened(q, found)
    drawn = figures.svg(
        partial(figures.verdict_scale, q=q),
        name=f"scale{i}",
        title=f"{sentences.ask(q, found)} {done[:1].upper()}{done[1:]}",
        height_in=figures.scale_height_in(q),
        width_in=figures.CARD_IN,
    )
    return drawn, caption


def _measured(q: QuestionFinding, found: Findings) -> list[str]:
    """Both sounds as played, in the metrics a reader asks for."""
    played = {(p.condition, p.metric): p.mean for p in found.played if p.presentation == q.presentation}
    lines = []
    for metric in MEASURED:
        more, than = played.get((q.more, metric)), played.get((q.than, metric))
        if more is not None and than is not None:
            words = metric_register.named(metric)
            values = (number(one.value, words.decimals) for one in (more, than))
            lines.append(f"{words.name} {' and '.join(values)} {words.unit}")
    return lines


def _others(made: list[Form]) -> tuple[Form, ...]:
    """What is not already on the card: all but the English sentence and footnote."""
    shown = ("sentence", "footnote")
    return tuple(form for form in made if form.language != language.ENGLISH or form.use not in shown)
