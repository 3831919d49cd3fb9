"""Phrases that every sentence shares: how a thing is heard, where it was heard, how a factor is said."""

from listening.records.findings import Findings, QuestionFinding

AS_RECORDED = "as recorded"
LOUDNESS_METRIC = "nmax_sone"  # what a set matched on holds equal in loudness; every other one, in level
IRREGULAR = {"better": "the best", "worse": "the worst", "preferred": "the most preferred"}
TASKS = {  # what a listener did in a right answer, and what guessing alone gives
    "triangle": "picked the odd one of three",
    "duo-trio": "picked the one that was like the reference",
    "2-AFC": "picked the one that was said beforehand to have more",
}


def held_equal(found: Findings) -> str:
    """`loudness` or `level`: what the matched sounds had in common."""
    return "loudness" if found.matching.metric == LOUDNESS_METRIC else "level"


def where(presentation: str, found: Findings) -> str:
    """How the sounds were played, as a sentence begins."""
    if presentation == AS_RECORDED:
        return "As recorded, level differences included"
    return f"At equal {held_equal(found)}"


def is_heard(more: str, comparative: str, than: str, *, no: bool = False) -> str:
    """`A is heard as brighter than B`, `A is preferred to B`; with `no`, the denial."""
    denied = " not" if no else ""
    if comparative == "preferred":
        return f"{more} is{denied} preferred to {than}"
    return f"{more} is{denied} heard as {comparative} than {than}"


def heard_as(comparative: str) -> str:
    """The middle of `is_heard`: `is heard as brighter than`."""
    return is_heard("", comparative, "").strip()


def told_apart(more: str, than: str, *, no: bool = False) -> str:
    """`A can be told from B by ear`; with `no`, the denial."""
    return f"{more} can{'not' if no else ''} be told from {than} by ear"


def superlative(comparative: str) -> str:
    """`the brightest`, `the longest-ringing`, `the most preferred`, `the least bright`."""
    if comparative in IRREGULAR:
        return IRREGULAR[comparative]
    for word, most in (("more ", "the most "), ("less ", "the least ")):
        if comparative.startswith(word):
            return most + comparative.removeprefix(word)
    head, _, tail = comparative.partition("-")
    stem = head[:-2] + "est" if head.endswith("er") else f"most {head}"
    return f"the {stem}" + (f"-{tail}" if tail else "")


def name(q: QuestionFinding, label: str) -> str:
    """A condition as a sentence names it: with one stroke only, the recording and not the design."""
    return f"the recording of {label}" if q.these_recordings_only else label


def times(factor: float) -> str:
    """`1.4 times`, `3 times`."""
    return f"{factor:g} times"


def more_by(factor: float) -> str:
    """`40 % more`, `3 times as much`: a factor as people say it."""
    return f"{round(100 * (factor - 1), 1):g} % more" if factor < 2 else f"{factor:g} times as much"
