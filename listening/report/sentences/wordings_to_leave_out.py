"""Wordings to leave out: those close to one claim, and those that no listening test bears."""

from dataclasses import dataclass

from listening.records.findings import Findings, QuestionFinding, SuperlativeFinding
from listening.report.page import reasons
from listening.report.sentences import wording
from listening.report.sentences.wording import name


@dataclass(frozen=True)
class LeftOut:
    """A wording that a reader might be tempted by, and why the findings do not bear it."""

    wording: str
    why: str


HOW_MUCH = "listeners said which of two, not how much: a share of choices is no ratio"
HOW_LOUD = "ambiguous: as loudness in sone, as amplitude and as energy it means three different things"
CAUSE = "a cause needs sounds that differ in that alone; recordings of whole things differ in more"
ALWAYS = (
    LeftOut("“proven”, “everyone hears it”", "a test leaves a stated chance of error, and listeners differ"),
    LeftOut(
        "“the best”, “the only”, “than any other on the market”",
        "only what was compared here was heard; a superlative must be named before the test, of that set",
    ),
    LeftOut(
        "other units, supports, rooms, playback levels or people",
        "only these recordings were heard, by this kind of listener; nothing was tried on the road",
    ),
    LeftOut("“because of its alloy”, “thanks to the new shape”", CAUSE),
)


def of_question(q: QuestionFinding, found: Findings) -> tuple[LeftOut, ...]:
    """Wordings close at hand that this question does not bear."""
    more, than, word = name(q, q.more_label), name(q, q.than_label), q.comparative
    if q.word in ("undecided", "no verdict"):
        return (
            LeftOut(
                f"“{_claim(q, more, than)}”, and just as little “there is no difference”",
                "the answers leave both open; an open question is no proof of sameness",
            ),
        )
    if q.word == "contradicted":
        return (LeftOut(f"“{_claim(q, more, than)}”", "the planned question came out against it"),)
    if q.kind == "audible":
        return _audible(more, than)
    if q.kind == "same":
        return (
            LeftOut(
                "“identical”, “no difference”, “cannot be told apart”",
                f"shown is less: that {reasons.bound(q)}; asked was {q.attribute} alone",
            ),
        )
    beyond = () if q.about_level else (_level(q, found),)
    return (
        *beyond,
        LeftOut(
            f"“{wording.superlative(word)}”, “{word} than all others”",
            f"this claim compares {more} with {than} alone",
        ),
        _how_much(q),
    )


def of_superlative(s: SuperlativeFinding) -> tuple[LeftOut, ...]:
    """The same for a superlative."""
    the_most, n = wording.superlative(s.comparative), len(s.against) + 1
    return (
        LeftOut(f"“{the_most}” without “of the {n} compared”", "no other one was heard"),
        LeftOut(f"“by far {the_most}”", "listeners said which of two, not how much"),
    )


def of_factor(q: QuestionFinding) -> tuple[LeftOut, ...]:
    """The same for a planned factor."""
    if q.factor is None:
        return ()
    said = wording.more_by(q.factor.factor)
    listed = [
        LeftOut(f"“sounds {said}”", "how much was measured; listeners said only which of the two"),
        LeftOut(f"anything beyond “at least {wording.times(q.factor.factor)}”", "that is the factor planned"),
    ]
    if q.about_level:
        listed.append(
            LeftOut(
                f"“{wording.times(q.factor.factor)} louder” without “in sone”",
                HOW_LOUD,
            )
        )
    return tuple(listed)


def _claim(q: QuestionFinding, more: str, than: str) -> str:
    if q.kind == "audible":
        return wording.told_apart(more, than)
    if q.kind == "same":
        return f"{more} and {than} sound the same"
    return wording.is_heard(more, q.comparative, than)


def _audible(more: str, than: str) -> tuple[LeftOut, ...]:
    return (
        LeftOut(
            f"“brighter”, “louder”, “better” or any other way in which {more} differs",
            "listeners only told the two apart; what they went by was not asked",
        ),
        LeftOut(
            f"“every {more} sounds different from every {than}”",
            "two strokes of one and the same thing may differ to the ear as well; that was not asked",
        ),
        LeftOut("“a clear difference”", "heard was that there is one, not how large it is"),
    )


def _how_much(q: QuestionFinding) -> LeftOut:
    if q.comparative == "louder":
        return LeftOut("“twice as loud”, “so many per cent louder”, “much louder”", f"{HOW_LOUD}; {HOW_MUCH}")
    return LeftOut(
        f"“twice as …”, “so many per cent {q.comparative}”, “much {q.comparative}”",
        HOW_MUCH,
    )


def _level(q: QuestionFinding, found: Findings) -> LeftOut:
    equal = wording.held_equal(found)
    if q.beyond_level:
        return LeftOut(
            f"the sentence without “at equal {equal}”, as if of the product as it is sold",
            f"this was heard at equal {equal}; as it is sold, {equal} differs too and can hide or help it",
        )
    return LeftOut(
        f"“{q.comparative}, not just louder”",
        "as recorded, the two also differ in level; only a verdict at equal level or loudness bears that",
    )
