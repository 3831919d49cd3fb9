"""Wordings to leave out: those that people try with a claim, and those that no listening test bears."""

from collections.abc import Iterator
from dataclasses import dataclass

from listening.records.found.findings import Findings, SuperlativeFinding
from listening.records.found.findings_question import QuestionFinding
from listening.report.page import reasons
from listening.report.sentences import facts, sentences, wording


@dataclass(frozen=True)
class LeftOut:
    """A wording that a reader might be tempted by, and why the findings do not bear it."""

    wording: str
    why: str
    words: tuple[str, ...] = ()
    """Single words of a draft that give it away; a help to the reader, never what decides."""


HOW_MUCH = "listeners said which of two, not how much: a share of choices is no ratio"
HOW_LOUD = "ambiguous: as loudness in sone, as amplitude and as energy it means three different things"
CAUSE = "a cause needs sounds that differ in that alone; recordings of whole things differ in more"
OPPOSITES = {"brighter": "duller", "louder": "quieter", "longer-ringing": "shorter-ringing"}
ALWAYS = (
    LeftOut(
        "“proven”, “everyone hears it”",
        "a test leaves a stated chance of error, and listeners differ",
        ("proven", "prove", "proof", "everyone", "everybody", "always", "guaranteed", "bewiesen"),
    ),
    LeftOut(
        "“the best”, “the only”, “than any other on the market”",
        "only what was compared here was heard; a superlative must be named before the test, of that set",
        ("best", "only", "market", "any", "unmatched", "winner", "beste", "markt", "testsieger"),
    ),
    LeftOut(
        "“you will hear”, “up to”",
        "other people heard it, in so many comparisons as stand there; no reader was asked",
        ("you", "up", "sie"),
    ),
    LeftOut(
        "“8 of 10 people”, “most listeners”",
        "what was counted are comparisons, several by each listener",
        ("people", "most", "majority", "percent", "%", "menschen", "meisten"),
    ),
    LeftOut(
        "other specimens, supports, rooms, playback levels or people",
        "only these recordings were heard, by this kind of listener; nothing was tried on the road",
        ("road", "traffic", "street", "outdoors", "everywhere", "handlebar"),
    ),
    LeftOut(
        "“because of its alloy”, “thanks to the new shape”", CAUSE, ("because", "thanks", "alloy", "shape")
    ),
)


def of_question(q: QuestionFinding, found: Findings) -> tuple[LeftOut, ...]:
    """Wordings close at hand that this question does not bear."""
    if q.word in ("undecided", "no verdict"):
        return tuple(_open(q, found))
    if q.word == "contradicted":
        return tuple(_against(q, found))
    if q.of_kind.by_right_answers:
        return _audible(q)
    if q.of_kind.is_equivalence:
        return tuple(_same(q))
    return tuple(_more(q, found))


def of_superlative(s: SuperlativeFinding) -> tuple[LeftOut, ...]:
    """The same for a superlative."""
    the_most, n = wording.superlative(s.comparative), len(s.against) + 1
    return (
        LeftOut(f"“{the_most}” without “of the {n} compared”", "no other one was heard"),
        LeftOut(f"“by far {the_most}”", "listeners said which of two, not how much"),
    )


def of_factor(q: QuestionFinding) -> tuple[LeftOut, ...]:
    """The same for a planned ratio."""
    if q.claimed_ratio is None:
        return ()
    said = wording.more_by(q.claimed_ratio.claimed)
    listed = [
        LeftOut(f"“sounds {said}”", "how much was measured; listeners said only which of the two"),
        LeftOut(
            f"anything beyond “at least {wording.times(q.claimed_ratio.claimed)}”",
            "that is the factor planned",
        ),
    ]
    if q.about_level:
        listed.append(
            LeftOut(f"“{wording.times(q.claimed_ratio.claimed)} louder” without “in sone”", HOW_LOUD)
        )
    return tuple(listed)


def _open(q: QuestionFinding, found: Findings) -> Iterator[LeftOut]:
    yield LeftOut(
        f"“{sentences.claim(q, found)}”, and just as little “there is no difference”",
        "the answers leave both open; an open question is no proof of sameness",
        ("no", "same", "equally", "difference"),
    )
    yield LeftOut(
        "“tends to”, “suggests”, “almost significant”, the counts alone",
        "a reader takes each of them for a result, and there is none",
        ("tends", "suggests", "almost", "nearly"),
    )


def _against(q: QuestionFinding, found: Findings) -> Iterator[LeftOut]:
    yield LeftOut(f"“{sentences.claim(q, found)}”", "the planned question came out against it")
    if q.of_kind.has_direction:
        opposite = f"“{OPPOSITES[q.comparative]}”, " if q.comparative in OPPOSITES else ""
        yield LeftOut(
            f"{opposite}“the same”, or that {q.than_label} is heard as {q.comparative}",
            "no difference as large as planned was found; that shows neither the opposite nor sameness",
            ("same", "equally", "duller", "quieter"),
        )


def _more(q: QuestionFinding, found: Findings) -> Iterator[LeftOut]:
    more, than, word = q.more_label, q.than_label, q.comparative
    if q.comparative != facts.PREFERRED:
        yield LeftOut(
            "“better”, “preferred”, “clearer”, “nicer”",
            f"asked was “{q.wording}”, and nothing else",
            ("better", "preferred", "clearer", "nicer", "safer", "besser", "klarer"),
        )
    if q.comparative in OPPOSITES:
        opposite = OPPOSITES[q.comparative]
        yield LeftOut(
            f"“{than} is {opposite}”",
            f"nobody was asked which is {opposite}; it also runs down the other product",
            (opposite, "dull", "less", "dumpfer"),
        )
    if not q.about_level:
        yield _level(q, found)
    reach = facts.of_pair(q, found)
    if reach != "design" and q.presentation != "isolated":
        yield LeftOut(
            f"“{more}” without “{'recordings' if reach == 'recordings' else 'the recording'} of”",
            "the specimens recorded do not speak for the design: that needs several of each",
        )
    yield LeftOut(
        f"“{wording.superlative(word)}”, “{word} than all others”",
        f"this claim compares {more} with {than} alone",
        ("all", "others", "brightest", "loudest"),
    )
    yield _how_much(q)


def _same(q: QuestionFinding) -> Iterator[LeftOut]:
    yield LeftOut(
        "“identical”, “no difference”, “cannot be told apart”",
        f"shown is less: that {reasons.margin(q)}; asked was {q.attribute} alone",
        ("identical", "no", "apart", "equally"),
    )
    if q.about_level:
        yield LeftOut(
            "“as loud as”, of the products",
            "they were made equally loud for the test; that says how well, and nothing of the products",
            ("loud",),
        )


def _audible(q: QuestionFinding) -> tuple[LeftOut, ...]:
    more, than = q.more_label, q.than_label
    return (
        LeftOut(
            f"“brighter”, “louder”, “better” or any other way in which {more} differs",
            "listeners only told the two apart; what they went by was not asked",
            ("brighter", "louder", "better", "because"),
        ),
        LeftOut(
            f"“every {more} sounds different from every {than}”",
            "two strikes of one and the same thing may differ to the ear as well; that was not asked",
            ("every", "all"),
        ),
        LeftOut(
            "“a clear difference”, “unmistakable”",
            "heard was that there is one, not how large it is",
            ("clear", "clearly", "unmistakable"),
        ),
    )


def _how_much(q: QuestionFinding) -> LeftOut:
    words = ("twice", "times", "much", "far", "percent", "%", "double", "doppelt", "viel")
    if q.comparative == "louder":
        wordings = "“twice as loud”, “so many per cent louder”, “much louder”"
        return LeftOut(wordings, f"{HOW_LOUD}; {HOW_MUCH}", words)
    return LeftOut(
        f"“twice as …”, “so many per cent {q.comparative}”, “much {q.comparative}”", HOW_MUCH, words
    )


def _level(q: QuestionFinding, found: Findings) -> LeftOut:
    if not q.beyond_level:
        return LeftOut(
            f"“{q.comparative}, not just louder”",
            "as recorded, the two also differ in level; only a verdict at equal level or loudness bears that",
            ("just",),
        )
    equal = wording.held_equal(found)
    return LeftOut(
        f"the sentence without “at equal {equal}”, and “not just louder”",
        f"this was heard at equal {equal}; as it is sold, {equal} differs too and can hide or help it, and "
        "whether it is louder was not asked",
        ("just", "beyond"),
    )
