"""The sentence that may be printed, and its footnote."""

from listening.records.findings import Findings, QuestionFinding, SuperlativeFinding
from listening.report import rounding
from listening.report.page import imported_words, reasons
from listening.report.rounding import in_hundred
from listening.report.sentences import cause_words, rating_sentences, wording
from listening.report.sentences.wording import name, where

SIMULATED = "Simulated panel, not for print: "


def printable(q: QuestionFinding, found: Findings) -> str:
    """The one sentence that the question bears; where it bears no claim, the sentence says that."""
    if q.unit == "points":
        return marked(rating_sentences.sentence(q, found) + cause_words.after(q), found)
    return marked(_SAYS[q.word](q, found) + cause_words.after(q), found)


def superlative(s: SuperlativeFinding, found: Findings) -> str:
    """The one sentence that a planned superlative bears."""
    played = where(s.presentation, found)
    others = ", ".join(one.than_label for one in s.against)
    the_most = f"{wording.superlative(s.comparative)} of the {len(s.against) + 1} compared"
    if s.word == "supported":
        text = (
            f"{played}, {s.label} is heard as {the_most}: the panel of {s.n_listeners} "
            f"listeners, taken together, set it above each of {others}."
        )
    elif s.word == "contradicted":
        text = f"{played}, {s.label} is not heard as {the_most}: {reasons.superlative(s)}."
    else:
        text = f"No claim: whether {s.label} is {the_most} stays open: {reasons.superlative(s)}."
    return marked(text, found)


def superlative_footnote(s: SuperlativeFinding, found: Findings) -> str:
    """The shortest honest footnote to a superlative: every comparison had to hold by itself."""
    n = len(s.against)
    return (
        f"Blind paired comparison, {s.n_listeners} {found.panel.training} listeners "
        f"({found.panel.stands_for}); named before the test; each of the {n} comparisons had to hold by "
        f"itself; of the {n + 1} compared here, no others; study {found.digests.study[:12]}."
    )


def footnote(q: QuestionFinding, found: Findings) -> str:
    """The shortest honest footnote to the sentence: who, how, how sure, under which conditions."""
    if found.imported:
        return imported_words.footnote(q, found)
    n_stimuli = f"{q.stimuli_per_condition} recorded stroke{'s' if q.stimuli_per_condition != 1 else ''}"
    parts = [
        f"Blind {_task(q)}, “{q.asked}”, {q.n_listeners} {found.panel.training} listeners "
        f"({found.panel.stands_for})",
        f"{_counts(q)}, {n_stimuli} of each",
        _presented(q, found),
    ]
    estimated = q.estimate or q.heard or q.points
    if estimated is not None:
        what = "number of points" if q.points else "share"
        parts.append(
            f"the {what} and its {rounding.level(estimated.level)} limits are estimates that allow for other "
            "listeners and other recordings of the same kind"
        )
    parts.append(f"planned before the test, study {found.digests.study[:12]}")
    return "; ".join(parts) + "."


def shares(q: QuestionFinding) -> str:
    """`in an estimated 86 of 100 choices (limits 76 to 92)`, as far as the data go."""
    if q.share is None:
        return ""
    what = "trials" if q.kind == "audible" else "choices"
    tied = ""
    if q.n_direct_no_difference:
        heard_none = f"{q.n_direct_no_difference} of {q.n_direct} direct comparisons"
        tied = f", had one to be named ({heard_none} were answered no difference)"
    return (
        f"in an estimated {in_hundred(q.share.value)} of 100 {what} "
        f"(limits {in_hundred(q.share.lower)} to {in_hundred(q.share.upper)}){tied}"
    )


def ask(q: QuestionFinding, found: Findings) -> str:
    """A planned question in short."""
    at = "as recorded" if q.presentation == "as recorded" else f"at equal {wording.held_equal(found)}"
    if q.kind == "same":
        return f"Are {q.more_label} and {q.than_label} heard as the same in {q.attribute}, {at}?"
    if q.kind == "audible":
        return f"Can {q.more_label} be told from {q.than_label} by ear, {at}?"
    return f"Is {wording.is_heard(q.more_label, q.comparative, q.than_label)}, {at}?".replace(
        f"Is {q.more_label} is ", f"Is {q.more_label} "
    )


def _supported(q: QuestionFinding, found: Findings) -> str:
    more, than, played = name(q, q.more_label), name(q, q.than_label), where(q.presentation, found)
    if q.kind == "audible":
        return f"{played}, {wording.told_apart(more, than)}: {_right(q)}."
    if q.kind == "same":
        return (
            f"{played}, {more} and {than} are heard as the same in {q.attribute}, within the bound "
            f"planned ({reasons.bound(q)}): {more} was chosen {shares(q)}, by {q.n_listeners} listeners."
        )
    beyond = ", beyond being louder" if q.beyond_level else ""
    return (
        f"{played}, {wording.is_heard(more, q.comparative, than)}{beyond}: "
        f"{q.n_listeners} listeners chose it {shares(q)}."
    )


def _contradicted(q: QuestionFinding, found: Findings) -> str:
    more, than, played = name(q, q.more_label), name(q, q.than_label), where(q.presentation, found)
    if q.kind == "audible":
        return (
            f"{played}, {more} is told from {than} by ear less often than was planned to matter "
            f"({reasons.matters(q)}): {_right(q)}."
        )
    if q.kind == "same":
        return (
            f"{played}, {more} and {than} are not heard as the same in {q.attribute} (planned was that "
            f"{reasons.bound(q)}): {more} was chosen {shares(q)}, by {q.n_listeners} listeners."
        )
    return (
        f"{played}, {wording.is_heard(more, q.comparative, than, no=True)} by as much as was planned to "
        f"matter ({reasons.matters(q)}): it was chosen by {q.n_listeners} listeners {shares(q)}."
    )


def _undecided(q: QuestionFinding, found: Findings) -> str:
    more, than = name(q, q.more_label), name(q, q.than_label)
    if q.kind == "audible":
        tail = f": {_right(q)}" if q.heard is not None else ""
        return f"No claim: the test leaves open whether {wording.told_apart(more, than)}{tail}."
    claim = (
        f"{more} and {than} are heard as the same in {q.attribute}"
        if q.kind == "same"
        else wording.is_heard(more, q.comparative, than)
    )
    beyond = " beyond being louder" if q.beyond_level and q.kind == "more" else ""
    tail = f": {more} was chosen {shares(q)}" if q.share is not None else ""
    return f"No claim: the test leaves open whether {claim}{beyond}{tail}."


def _no_verdict(q: QuestionFinding, found: Findings) -> str:
    if q.decided_by == "nothing" or "look" in q.reason:  # not decided, whatever the answers are
        return f"No claim: {q.reason}."
    return f"No claim: {q.n_listeners} listeners are too few for a verdict."


_SAYS = {
    "supported": _supported,
    "contradicted": _contradicted,
    "undecided": _undecided,
    "no verdict": _no_verdict,
}


def marked(text: str, found: Findings) -> str:
    """The text, with a warning before it where nobody listened."""
    return f"{SIMULATED}{text}" if found.simulated else text


def _right(q: QuestionFinding) -> str:
    """What the listeners did in a task with right answers, against guessing."""
    if q.guess is None:
        return (
            f"{q.n_listeners} listeners called {q.n_direct_more} of {q.n_direct} pairs that differ "
            f"different, and {q.n_false} of {q.n_alike} pairs that are alike"
        )
    did = wording.TASKS.get(q.task, "answered rightly")
    return f"{q.n_listeners} listeners {did} {shares(q)}, where guessing alone gives {in_hundred(q.guess)}"


def _task(q: QuestionFinding) -> str:
    tests = {
        "triangle": "triangle test",
        "duo-trio": "duo-trio test",
        "same-different": "same-different test",
    }
    return tests.get(q.task, f"{q.task} test" if q.task == "2-AFC" else q.task)


def _counts(q: QuestionFinding) -> str:
    if q.unit == "points":
        return f"{q.n_direct} ratings of the two, {rating_sentences.scale(q)}"
    if q.kind != "audible":
        return f"chosen in {q.n_direct_more} of {q.n_direct} direct comparisons"
    if q.guess is None:
        return (
            f"{q.n_direct_more} of {q.n_direct} pairs that differ and {q.n_false} of {q.n_alike} pairs that "
            "are alike were called different"
        )
    return f"right in {q.n_direct_more} of {q.n_direct} trials"


def _presented(q: QuestionFinding, found: Findings) -> str:
    if q.presentation == "as recorded":
        return "played as recorded, level differences included"
    match = found.matching
    unit = "phon" if match.metric == "nmax_sone" else "dB"
    residual = f", largest residual {rounding.number(match.largest_residual_db, 3)} {unit}"
    return (
        f"played {q.presentation}, {match.label}{residual if match.largest_residual_db is not None else ''}"
    )
