"""The claims sheet: one page for those who print, from the findings."""

from dataclasses import dataclass
from pathlib import Path

from listening.records.findings import Findings, QuestionFinding
from listening.report import claims, sentences, tables
from listening.report.page import environment

HERE = Path(__file__).parent


@dataclass(frozen=True)
class Line:
    """One planned question on the sheet."""

    word: str
    ask: str
    sentence: str
    footnote: str


def render(found: Findings) -> str:
    """The sheet as self-contained HTML."""
    lines = [_line(q, found) for q in found.questions]
    lines += [
        Line(
            s.word,
            f"{s.label}: the most of the set?",
            sentences.superlative(s, found),
            sentences.superlative_footnote(s, found),
        )
        for s in found.superlatives
    ]
    every = [no for q in found.questions for no in sentences.not_borne(q) if q.word == "supported"]
    general = {no.wording: no for no in every}
    return (
        environment()
        .get_template("sheet.html.jinja")
        .render(
            f=found,
            css=(HERE / "page.css").read_text(encoding="utf-8"),
            borne=[line for line in lines if line.word == "supported"],
            against=[line for line in lines if line.word == "contradicted"],
            open=[line for line in lines if line.word in ("undecided", "no verdict")],
            not_borne=list(general.values()),
            limits=claims.LIMITS,
        )
    )


def _line(q: QuestionFinding, found: Findings) -> Line:
    return Line(q.word, tables.ask(q), sentences.printable(q, found), sentences.footnote(q, found))
