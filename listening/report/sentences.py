"""The sentence that may be printed, its footnote, and the wordings that the findings do not bear."""

from dataclasses import dataclass

from listening.records.findings import Findings, QuestionFinding, SuperlativeFinding
from listening.report import imported_words, rounding
from listening.report.rounding import in_hundred

SIMULATED = "Simulated panel, not for print: "


@dataclass(frozen=True)
class NotBorne:
    """A wording that a reader might be tempted by, and why the findings do not bear it."""

    wording: str
    why: str


def printable(q: QuestionFinding, found: Findings) -> str:
    """The one sentence that the question bears; where it bears no claim, the sentence says that."""
    text = _SAYS[q.word](q)
    return f"{SIMULATED}{text}" if found.simulated else text


def superlative(s: SuperlativeFinding, found: Findings) -> str:
    """The one sentence that a planned superlative bears."""
    where = _PLAYED[s.presentation == "as recorded"]
    the_most = _superlative(s.comparative)
    others = ", ".join(one.than_label for one in s.against)
    the_most = f"{the_most} of {len(s.against) + 1} compared"
    if s.word == "supported":
        text = (
            f"{where}, {s.label} is heard as {the_most}: the panel of {s.n_listeners} "
            f"listeners, taken together, set it above each of {others}."
        )
    elif s.word == "contradicted":
        text = f"{where}, {s.label} is not heard as {the_most}: {s.reason}."
    else:
        text = f"No claim: whether {s.label} is {the_most} stays open: {s.reason}."
    return f"{SIMULATED}{text}" if found.simulated else text


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
        f"Blind paired comparison, “{q.asked}”, {q.n_listeners} {found.panel.training} listeners "
        f"({found.panel.stands_for})",
        f"chosen in {q.n_direct_more} of {q.n_direct} direct comparisons, {n_stimuli} of each",
        _presented(q, found),
    ]
    if q.estimate is not None:
        parts.append(
            f"the share and its {rounding.level(q.estimate.level)} limits are estimates that allow for other "
            "listeners and other recordings of the same kind"
        )
    parts.append(f"planned before the test, study {found.digests.study[:12]}")
    return "; ".join(parts) + "."


def not_borne(q: QuestionFinding) -> tuple[NotBorne, ...]:
    """Wordings close at hand that this question does not bear."""
    more, than, word = _name(q, q.more_label), _name(q, q.than_label), q.comparative
    listed = [
        NotBorne(
            f"“{_superlative(word)}” or “{word} than all others” without the words “of N compared”",
            "only a superlative named before the test, of the set compared, can be printed",
        ),
        NotBorne(
            f"“twice as …”, “so many per cent {word}”",
            "listeners said which of two, not how much: a share of choices is no ratio",
        ),
        NotBorne(
            "“proven”, “everyone hears it”",
            "a test leaves a stated chance of error, and listeners differ",
        ),
        NotBorne(
            "the same for other units, supports, rooms or listeners",
            f"heard were {more} and {than}, by this kind of listener",
        ),
    ]
    if q.word == "supported" and q.kind == "more" and not q.about_level:
        listed.insert(0, _level_wording(q))
    if q.word == "supported" and q.kind == "same":
        listed.insert(
            0, NotBorne("“identical”, “no difference”", "the same within a stated bound, not equal")
        )
    if q.word in ("undecided", "no verdict"):
        listed.insert(
            0,
            NotBorne(
                f"“{more} is {word}” or “there is no difference”",
                "the data leave both open; an open question is no proof of sameness",
            ),
        )
    if q.word == "contradicted":
        listed.insert(
            0, NotBorne(f"“{more} is {word} than {than}”", "the planned question came out against it")
        )
    return tuple(listed)


def shares(q: QuestionFinding) -> str:
    """`in an estimated 86 of 100 choices (limits 76 to 92)`, as far as the data go."""
    if q.share is None:
        return ""
    return (
        f"in an estimated {in_hundred(q.share.value)} of 100 choices "
        f"(limits {in_hundred(q.share.lower)} to {in_hundred(q.share.upper)})"
    )


def _supported(q: QuestionFinding) -> str:
    more, than = _name(q, q.more_label), _name(q, q.than_label)
    if q.kind == "same":
        return (
            f"{_where(q)}, {more} and {than} are heard as the same in {q.attribute}, within the bound "
            f"planned: {more} was chosen {shares(q)}, by {q.n_listeners} listeners."
        )
    beyond = ", beyond being louder" if q.beyond_level else ""
    return (
        f"{_where(q)}, {more} is heard as {q.comparative} than {than}{beyond}: "
        f"{q.n_listeners} listeners chose it {shares(q)}."
    )


def _contradicted(q: QuestionFinding) -> str:
    more, than = _name(q, q.more_label), _name(q, q.than_label)
    if q.kind == "same":
        return (
            f"{_where(q)}, {more} and {than} are not heard as the same in {q.attribute}: "
            f"{more} was chosen {shares(q)}, by {q.n_listeners} listeners."
        )
    return (
        f"{_where(q)}, {more} is not heard as {q.comparative} than {than} by as much as was planned to "
        f"matter: it was chosen by {q.n_listeners} listeners {shares(q)}."
    )


def _undecided(q: QuestionFinding) -> str:
    more, than = _name(q, q.more_label), _name(q, q.than_label)
    claim = (
        f"{more} and {than} are heard as the same in {q.attribute}"
        if q.kind == "same"
        else f"{more} is heard as {q.comparative} than {than}"
    )
    beyond = " beyond being louder" if q.beyond_level and q.kind == "more" else ""
    tail = f": {more} was chosen {shares(q)}" if q.share is not None else ""
    return f"No claim: the test leaves open whether {claim}{beyond}{tail}."


def _no_verdict(q: QuestionFinding) -> str:
    if "look" in q.reason:  # an analysis before the planned end, see listening.analysis.looks
        return f"No claim: {q.reason}."
    return f"No claim: {q.n_listeners} listeners are too few for a verdict."


_SAYS = {
    "supported": _supported,
    "contradicted": _contradicted,
    "undecided": _undecided,
    "no verdict": _no_verdict,
}


_PLAYED = {True: "As recorded, level differences included", False: "At equal level"}


def _where(q: QuestionFinding) -> str:
    return _PLAYED[q.presentation == "as recorded"]


def _presented(q: QuestionFinding, found: Findings) -> str:
    if q.presentation == "as recorded":
        return "played as recorded, level differences included"
    match = found.matching
    unit = "phon" if match.metric == "nmax_sone" else "dB"
    residual = f", largest residual {rounding.number(match.largest_residual_db, 3)} {unit}"
    return (
        f"played {q.presentation}, {match.label}{residual if match.largest_residual_db is not None else ''}"
    )


def _level_wording(q: QuestionFinding) -> NotBorne:
    if q.beyond_level:
        return NotBorne(
            f"“you will hear that it is {q.comparative}” of the product as it is sold",
            "this was heard at equal level; as recorded, level differs too and can hide or help it",
        )
    return NotBorne(
        f"“{q.comparative}, not just louder”",
        "as recorded, the two also differ in level; only a verdict at equal level bears that",
    )


def _superlative(comparative: str) -> str:
    if comparative.startswith("more "):
        return f"the most {comparative[5:]}"
    head, _, tail = comparative.partition("-")
    stem = head[:-2] + "est" if head.endswith("er") else f"most {head}"
    return f"the {stem}" + (f"-{tail}" if tail else "")


def _name(q: QuestionFinding, label: str) -> str:
    return f"the recording of {label}" if q.these_recordings_only else label
