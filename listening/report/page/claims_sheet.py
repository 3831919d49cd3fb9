"""The claims sheet: one page for those who print, from the findings."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from listening.records.forms.text import plain
from listening.records.found.findings import Findings, SuperlativeFinding
from listening.report.claims import draft_check
from listening.report.page import reasons
from listening.report.page.page import environment, style_sheet
from listening.report.sentences import footnotes, forms, language, ratio_sentences, sentences, wording
from listening.report.sentences import wordings_to_leave_out as left_out
from listening.report.sentences.form import Form
from listening.report.sentences.wordings_to_leave_out import LeftOut


@dataclass(frozen=True)
class Line:
    """One planned question, factor or superlative on the sheet."""

    word: str
    ask: str
    sentence: str
    footnote: str
    why: str
    left_out: tuple[LeftOut, ...]
    others: tuple[Form, ...]
    """Headline and long form, and the forms in other languages."""


def render(found: Findings) -> str:
    """The sheet as self-contained HTML."""
    lines = list(_lines(found))
    return plain(
        environment()
        .get_template("sheet.html.jinja")
        .render(
            f=found,
            css=style_sheet(),
            supported=[line for line in lines if line.word == "supported" and line.others],
            held=[line for line in lines if line.word == "supported" and not line.others],
            languages={words.code: words.words["name"] for words in language.known()},
            missing=footnotes.missing(found),
            against=[line for line in lines if line.word == "contradicted"],
            open=[line for line in lines if line.word in ("undecided", "no verdict")],
            always=left_out.ALWAYS,
            limits=draft_check.LIMITS,
        )
    )


def _lines(found: Findings) -> Iterator[Line]:
    for q in found.questions:
        yield Line(
            q.word,
            sentences.ask(q, found),
            sentences.printable(q, found),
            sentences.footnote(q, found),
            reasons.of(q, found),
            left_out.of_question(q, found),
            _others(forms.of_question, q, found),
        )
        if q.claimed_ratio is not None:
            yield Line(
                q.claimed_ratio.word,
                f"{sentences.ask(q, found).removesuffix('?')}, and by "
                f"{wording.more_by(q.claimed_ratio.claimed)}?",
                ratio_sentences.printable(q, found),
                ratio_sentences.footnote(q, found),
                ratio_sentences.reason(q),
                left_out.of_factor(q),
                _others(forms.of_factor, q, found),
            )
    for s in found.superlatives:
        yield Line(
            s.word,
            f"Is {s.label} heard as {_the_most(s)}?",
            sentences.superlative(s, found),
            sentences.superlative_footnote(s, found),
            reasons.superlative(s),
            left_out.of_superlative(s),
            _others(forms.of_superlative, s, found),
        )


def _others(make: Callable[..., Iterator[Form]], one: Any, found: Findings) -> tuple[Form, ...]:
    """Every form but the English sentence and footnote, which stand first."""
    made = [form for words in language.known() for form in make(one, found, words)]
    return tuple(
        form for form in made if form.language != language.ENGLISH or form.use not in ("sentence", "footnote")
    )


def _the_most(s: SuperlativeFinding) -> str:
    return f"{wording.superlative(s.comparative)} of the {len(s.against) + 1} compared"
