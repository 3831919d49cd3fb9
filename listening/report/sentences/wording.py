"""Phrases that every sentence shares: how a thing is heard, where it was heard, how a factor is said."""

from listening.records.found.findings import Findings
from listening.records.kinds import metric_register

AS_RECORDED = "as recorded"
IRREGULAR = {"better": "the best", "worse": "the worst", "preferred": "the most preferred"}


def held_equal(found: Findings) -> str:
    """`loudness` or `level`: what the matched sounds had in common."""
    metric = found.matching.metric
    is_loudness = metric is not None and metric_register.named(metric).residual_unit == "phon"
    return "loudness" if is_loudness else "level"


def is_heard(more: str, comparative: str, than: str, *, no: bool = False) -> str:
    """`A is heard as brighter than B`, `A is preferred to B`; with `no`, the denial."""
    denied = " not" if no else ""
    if comparative == "preferred":
        return f"{more} is{denied} preferred to {than}"
    return f"{more} is{denied} heard as {comparative} than {than}"


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


def times(factor: float) -> str:
    """`1.4 times`, `3 times`."""
    return f"{factor:g} times"


def more_by(factor: float) -> str:
    """`40 % more`, `3 times as much`: a factor as people say it."""
    return f"{round(100 * (factor - 1), 1):g} % more" if factor < 2 else f"{factor:g} times as much"
