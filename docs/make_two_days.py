"""Writes the numbers of `docs/guides/a_whole_study.md` from the findings that make demo-large left."""

import sys
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

from listening.records.findings import Findings  # noqa: E402
from listening.records.findings_question import QuestionFinding  # noqa: E402
from listening.records.interval import Interval  # noqa: E402
from listening.records.study import Study  # noqa: E402
from listening.report.rounding import p_value  # noqa: E402

PAGE = ROOT / "docs" / "guides" / "a_whole_study.md"
MARK = "<!-- numbers of the run -->"


def page(found: Findings) -> str:
    """The page with the numbers of these findings."""
    before, _, rest = PAGE.read_text().partition(MARK)
    after = rest.partition(MARK)[2]
    return f"{before}{MARK}\n{chr(10).join(_numbers(found))}\n{MARK}{after}"


def _numbers(found: Findings) -> Iterator[str]:
    panel, sessions = found.panel, found.sessions
    yield f"{panel.n_listeners} listeners gave {panel.n_answers} counted answers."
    if sessions is not None:
        missed = ", ".join(sessions.incomplete)
        yield f"{sessions.came[-1]} answered all of their last session; {missed} did not come to it."
    for one in found.stages:
        yield f"Stage {one.stage}: {one.n_listeners} of {one.planned} listeners, error rate {one.alpha:g}."
    yield "\n| question | stage | listeners | decided by | estimate and limits | word |"
    yield "|---|---|---|---|---|---|"
    for q in found.questions:
        yield f"| {q.id} | {q.stage} | {q.n_listeners} | {q.decided_by} | {_estimate(q)} | {q.word} |"
    yield "\n| question | session 1 | session 2 | last less first | p | left out |\n|---|---|---|---|---|---|"
    for one in sessions.questions if sessions else ():
        each = [f"{mean.mean.value:.2f}" for mean in one.each] or ["–", "–"]
        p = "–" if one.p is None else p_value(one.p)
        out = ", ".join(one.left_out) or "nobody"
        yield f"| {one.question} | {' | '.join(each)} | {_limits(one.difference)} | {p} | {out} |"


def _estimate(q: QuestionFinding) -> str:
    if q.points is not None:
        return f"{_limits(q.points)} points"
    return f"share {_limits(q.share)}"


def _limits(made: Interval | None) -> str:
    if made is None or made.lower is None or made.upper is None:
        return "–"
    return f"{made.value:.2f} ({made.lower:.2f} to {made.upper:.2f})"


if __name__ == "__main__":
    PAGE.write_text(page(Findings.load(Study(ROOT / "demo_large").findings)))
    print(f"written: {PAGE}")
