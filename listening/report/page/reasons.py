"""Why a verdict came out as it did, in words for those who print: the findings' reason with its numbers."""

from listening.records.found.findings import Findings, SuperlativeFinding
from listening.records.found.findings_question import QuestionFinding
from listening.records.kinds import metric_register
from listening.report.rounding import in_hundred, in_hundred_beside

FLIPS = "the verdict depends on how level is taken"
SPLIT = "the panel may be split"


def of(q: QuestionFinding, found: Findings) -> str:
    """One sentence without its full stop; a reason without numbers of its own is given as it stands."""
    if q.word == "no verdict" and q.n_listeners and "look" not in q.reason:
        least = found.method.minimum_listeners
        return f"{q.n_listeners} listeners took part, a verdict needs at least {least}"
    if q.level_flips or q.reason.startswith(FLIPS):
        tail = metric_register.in_words(q.reason.partition(": ")[2])
        tail = tail.replace("at the slope's", "with the effect of a decibel at its")
        return f"the answer changes with how level is measured: {tail}" if tail else FLIPS
    if q.of_kind.by_right_answers and q.share_not_guessed is not None:
        return _audible(q)
    if q.share is None or q.share.lower is None or q.share.upper is None:
        return metric_register.in_words(q.reason)
    if SPLIT in q.reason:
        return (
            "the panel as a whole hears no difference that matters, but too many listeners may hear one of "
            f"their own: up to {in_hundred(q.share_outside_upper)} in 100, allowed were fewer than "
            f"{in_hundred(q.split_limit)}"
        )
    return _same(q) if q.of_kind.is_equivalence else _more(q)


def superlative(s: SuperlativeFinding) -> str:
    """The same for a superlative."""
    if s.word == "supported":
        return f"each of the {len(s.against)} comparisons holds by itself"
    return metric_register.in_words(s.reason)


def matters(q: QuestionFinding) -> str:
    """The smallest effect that matters as people say it: `60 choices in 100`."""
    if q.unit == "share":
        return f"{in_hundred(q.smallest_effect)} choices in 100"
    if q.unit == "share not guessed":
        return f"heard in {in_hundred(q.smallest_effect)} trials in 100, guessing taken off"
    return f"{q.smallest_effect:g} log-odds"


def margin(q: QuestionFinding) -> str:
    """What `the same` allows, as people say it: `neither is chosen as often as 70 times in 100`."""
    if q.unit == "share":
        return f"neither is chosen as often as {in_hundred(q.smallest_effect)} times in 100"
    return f"they lie less than {q.smallest_effect:g} log-odds apart"


def _limits(q: QuestionFinding) -> str:
    share = q.share
    return "" if share is None else f"limits {in_hundred(share.lower)} to {in_hundred(share.upper)}"


def _more(q: QuestionFinding) -> str:
    if q.share is None:
        return q.reason
    planned = q.smallest_effect if q.unit == "share" else None
    low = in_hundred_beside(q.share.lower, 0.5)
    mid, high = in_hundred_beside(q.share.value, planned), in_hundred_beside(q.share.upper, planned)
    if q.word == "supported":
        return (
            f"even the lower limit, {low} of 100 choices, is above even chances, and the estimate, {mid}, "
            f"reaches the {matters(q)} that were planned to matter"
        )
    if q.word == "contradicted":
        return f"even the upper limit, {high} of 100 choices, stays below the {matters(q)} planned to matter"
    if "estimate is below" in q.reason:
        return (
            f"it is heard more often than even chances would give ({_limits(q)}), but the estimate, {mid} of "
            f"100 choices, is below the {matters(q)} planned to matter"
        )
    if "lower limit is not above zero" in q.reason or "lower limit is not above even" in q.reason:
        return (
            f"with limits {low} to {high} of 100 choices, even chances are possible, and so are the "
            f"{matters(q)} planned to matter"
        )
    return metric_register.in_words(q.reason)


def _same(q: QuestionFinding) -> str:
    if q.word == "supported":
        return (
            f"the limits of the share of choices ({_limits(q)} in 100) lie within the equivalence margin "
            f"planned, where {margin(q)}, and few enough listeners hear a difference of their own (at most "
            f"{in_hundred(q.share_outside_upper)} in 100, allowed were {in_hundred(q.split_limit)})"
        )
    if q.word == "contradicted":
        return (
            f"the limits of the share of choices ({_limits(q)} in 100) lie wholly outside the equivalence "
            "margin planned"
        )
    if "does not lie inside" in q.reason:
        return (
            f"the limits of the share of choices ({_limits(q)} in 100) reach past the equivalence margin "
            f"planned, where {margin(q)}"
        )
    return metric_register.in_words(q.reason)


def _audible(q: QuestionFinding) -> str:
    if q.share_not_guessed is None:
        return q.reason
    low, mid, high = map(
        in_hundred_signed, (q.share_not_guessed.lower, q.share_not_guessed.value, q.share_not_guessed.upper)
    )
    if q.word == "supported":
        return (
            f"guessing is ruled out, and the difference is heard in an estimated {mid} trials in 100 (limits "
            f"{low} to {high}), at least the {in_hundred(q.smallest_effect)} planned to matter"
        )
    if q.word == "contradicted":
        high = _under(high, in_hundred(q.smallest_effect))
        return (
            f"even the upper limit, heard in {high} trials in 100, stays below the "
            f"{in_hundred(q.smallest_effect)} planned to matter"
        )
    if q.share_not_guessed.lower is not None and q.share_not_guessed.lower > 0:
        return (
            f"guessing is ruled out, but the difference is heard in an estimated {mid} trials in 100, below "
            f"the {in_hundred(q.smallest_effect)} planned to matter"
        )
    return (
        f"with the difference heard in {low} to {high} trials in 100, guessing alone is possible, and so are "
        f"the {in_hundred(q.smallest_effect)} planned to matter"
    )


def _under(limit: str, planned: str) -> str:
    """A limit below what was planned, said so where both round alike."""
    return f"just under {limit}" if limit == planned else limit


def in_hundred_signed(share: float | None) -> str:
    """A share not guessed as so many in 100; one below guessing counts as none."""
    return in_hundred(None if share is None else max(0.0, share))
