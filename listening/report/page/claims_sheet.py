"""The claims sheet: one page for those who print, from the findings."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from listening.records.findings import Findings, SuperlativeFinding
from listening.records.text import plain
from listening.report.claims import draft_check
from listening.report.page import reasons
from listening.report.page.page import environment
from listening.report.sentences import ratio_sentences, sentences, wording
from listening.report.sentences import wordings_to_leave_out as left_out
from listening.report.sentences.wordings_to_leave_out import LeftOut

HERE = Path(__file__).parent


@dataclass(frozen=True)
class Line:
    """One planned question, factor or superlative on the sheet."""

    word: str
    ask: str
    sentence: str
    footnote: str
    why: str
    left_out: tuple[LeftOut, ...]


def render(found: Findings) -> str:
    """The sheet as self-contained HTML."""
    lines = list(_lines(found))
    return plain(
        environment()
        .get_template("sheet.html.jinja")
        .render(
            f=found,
            css=(HERE / "page.css").read_text(encoding="utf-8"),
            supported=[line for line in lines if line.word == "supported"],
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
        )
        if q.factor is not None:
            yield Line(
                q.factor.word,
                f"{sentences.ask(q, found).removesuffix('?')}, and by {wording.more_by(q.factor.factor)}?",
                ratio_sentences.printable(q, found),
                ratio_sentences.footnote(q, found),
                ratio_sentences.reason(q),
                left_out.of_factor(q),
            )
    for s in found.superlatives:
        yield Line(
            s.word,
            f"Is {s.label} heard as {_the_most(s)}?",
            sentences.superlative(s, found),
            sentences.superlative_footnote(s, found),
            reasons.superlative(s),
            left_out.of_superlative(s),
        )


def _the_most(s: SuperlativeFinding) -> str:
    return f"{wording.superlative(s.comparative)} of the {len(s.against) + 1} compared"
