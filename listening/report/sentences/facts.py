"""What a finding lets be said, in no language: how far it reaches, and what happened."""

from typing import Literal

from listening.records.found.findings import Findings, SuperlativeFinding
from listening.records.found.findings_question import QuestionFinding
from listening.report.sentences import cause_words, wording

Reach = Literal["design", "recordings", "recording"]
SEVERAL = 2  # specimens; one piece of a product does not speak for its design
PREFERRED = "preferred"


def reach(conditions: tuple[str, ...], found: Findings, *, strikes: int = 0) -> Reach:
    """Of what a sentence may speak: of a design only where several specimens of each were recorded.

    Parameters
    ----------
    strikes : recorded strikes of each, for findings that do not say how they were carried out
    """
    known = [found.conducted.of(one) if found.conducted else None for one in conditions]
    if any(len(one.recordings) == 1 if one else strikes == 1 for one in known):
        return "recording"
    return "design" if all(one is not None and one.n_specimens >= SEVERAL for one in known) else "recordings"


def of_pair(q: QuestionFinding, found: Findings) -> Reach:
    """Of what a question's sentence may speak; two edited versions are of one recording."""
    if q.presentation == "isolated":
        return "recording" if cause_words.of(q) else "design"
    return reach(compared(q), found, strikes=q.stimuli_per_condition)


def compared(q: QuestionFinding) -> tuple[str, ...]:
    """Every condition that a question compares."""
    return q.conditions or (q.more, q.than)


def of_set(s: SuperlativeFinding, found: Findings) -> Reach:
    """Of what a superlative's sentence may speak."""
    return reach((s.condition, *(one.than for one in s.against)), found)


def held(presentation: str, found: Findings) -> str:
    """`loudness`, `level` or `as_recorded`: how the two were played, as the language files name it."""
    return "as_recorded" if presentation == wording.AS_RECORDED else wording.held_equal(found)


def may_be_printed(q: QuestionFinding, found: Findings) -> bool:
    """Whether the question bears a sentence for the public; a proof that matching worked is none."""
    proves_matching = q.of_kind.is_equivalence and q.about_level and q.presentation != wording.AS_RECORDED
    edited_unclearly = q.presentation == "isolated" and not cause_words.of(q)
    return q.word == "supported" and found.imported is None and not proves_matching and not edited_unclearly


def claim(q: QuestionFinding) -> str:
    """Which claim the language files are asked for."""
    plain = PREFERRED if q.of_kind.has_direction and q.comparative == PREFERRED else q.kind
    if q.contrast != "pair":
        return f"{q.contrast}_{plain}"
    return f"edited_{plain}" if cause_words.of(q) else plain


def evidence(q: QuestionFinding) -> str:
    """Which account of what happened they are asked for."""
    if q.unit == "points":
        return "points"
    if q.of_kind.by_right_answers:
        return q.task
    if q.of_kind.is_equivalence:
        return "edited_same" if cause_words.of(q) else "same"
    if q.contrast != "pair":
        return "two_differences" if q.contrast == "interaction" else "several_pairs"
    return PREFERRED if q.comparative == PREFERRED else "more"
