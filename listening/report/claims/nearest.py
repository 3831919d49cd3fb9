"""The printable sentences nearest to a draft, and word by word what differs."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher

from listening.records.found.findings import Findings, SuperlativeFinding
from listening.records.found.findings_question import QuestionFinding
from listening.report.claims import canonical
from listening.report.claims.reading import Read
from listening.report.sentences import sentences
from listening.report.sentences.form import Form

SENTENCES = 3  # shown at most
NAMED, ABOUT, PLAYED, STRANGER = 3.0, 3.0, 1.0, 1.5  # how much each thing in common, or not, counts
ENOUGH = 3.0  # below it a draft is not said to be about a planned question
CLOSE = 2.0  # questions so much behind the nearest are shown as well
WHOLE = 0.6  # likeness at which a footnote or long form is shown for what it is


@dataclass(frozen=True)
class Difference:
    """Words of the draft, and those that stand in their place in the nearest printable sentence."""

    draft: str
    printable: str


@dataclass(frozen=True)
class Nearest:
    """What comes nearest to a draft."""

    question: str | None
    """The planned question or superlative that the draft is about."""
    sentences: tuple[str, ...]


def find(about: Read, draft: str, found: Findings, forms: Sequence[Form]) -> Nearest:
    """The question that the draft is about, and the sentences nearest to it, nearest first.

    Where the question bears nothing for print, the sentence that says so is given in their place.
    """
    ranked = sorted(_scores(about, found), key=lambda pair: -pair[0])
    if not ranked:
        return Nearest(None, ())
    best = ranked[0][0]
    close = [one for score, one in ranked if score >= max(best - CLOSE, ENOUGH)]
    shown = [text for one in close for text in _of_one(one, about, draft, found, forms)]
    others = [text for _, one in ranked for text in _of_one(one, about, draft, found, forms)[:1]]
    bearing = [text for text in others if not _is_no_claim(text)]
    return Nearest(
        ranked[0][1].id if best >= ENOUGH else None,
        tuple(dict.fromkeys(shown or _by_likeness(bearing, draft)))[:SENTENCES],
    )


def differences(draft: str, printable: str) -> tuple[Difference, ...]:
    """What differs, word by word, in order."""
    ours, theirs = _words(draft), _words(printable)
    matcher = SequenceMatcher(a=[w[0] for w in ours], b=[w[0] for w in theirs], autojunk=False)
    return tuple(
        Difference(" ".join(w[1] for w in ours[a:b]), " ".join(w[1] for w in theirs[c:d]))
        for what, a, b, c, d in matcher.get_opcodes()
        if what != "equal"
    )


def marked(draft: str, printable: str) -> str:
    """The draft with what must go as `[-…-]` and what must come as `{+…+}`."""
    ours, theirs = _words(draft), _words(printable)
    matcher = SequenceMatcher(a=[w[0] for w in ours], b=[w[0] for w in theirs], autojunk=False)
    parts = []
    for what, a, b, c, d in matcher.get_opcodes():
        gone, come = (" ".join(w[1] for w in some) for some in (ours[a:b], theirs[c:d]))
        if what == "equal":
            parts.append(gone)
            continue
        parts += [f"[-{gone}-]"] * bool(gone) + [f"{{+{come}+}}"] * bool(come)
    return " ".join(parts)


def _scores(about: Read, found: Findings) -> Iterator[tuple[float, QuestionFinding | SuperlativeFinding]]:
    for q in found.questions:
        yield _of_question(about, q), q
    for s in found.superlatives:
        yield _of_superlative(about, s), s


def _of_question(about: Read, q: QuestionFinding) -> float:
    pair = {q.more, q.than}
    score = NAMED * len(about.conditions & pair) - STRANGER * len(about.conditions - pair)
    score += ABOUT * (q.attribute in about.attributes and not q.of_kind.by_right_answers)
    score += ABOUT * (q.of_kind.by_right_answers and "told" in about.concepts and not about.attributes)
    if q.of_kind.is_equivalence:
        score += PLAYED if "same" in about.concepts else -STRANGER
    score -= PLAYED * (q.of_kind.has_direction and "most" in about.concepts)
    if q.presentation == "isolated":
        return score + ABOUT * ("edited" in about.concepts)
    recorded = "recorded" in about.concepts
    return score + PLAYED * ((q.presentation == "as recorded") == recorded)


def _of_superlative(about: Read, s: SuperlativeFinding) -> float:
    mentioned = s.condition in about.conditions
    if "most" not in about.concepts or (about.conditions and not mentioned):
        return 0.0
    return NAMED * mentioned + ABOUT * (s.attribute in about.attributes) + NAMED


def _of_one(
    one: QuestionFinding | SuperlativeFinding,
    about: Read,
    draft: str,
    found: Findings,
    forms: Sequence[Form],
) -> list[str]:
    """Printable sentences of one question in the draft's language, nearest first; else that there is none."""
    own = [form for form in forms if form.question == one.id]
    own = [form for form in own if form.language == about.language.code] or own
    short = [form.text for form in own if form.use in ("headline", "sentence")]
    if not short:
        said = sentences.printable if isinstance(one, QuestionFinding) else sentences.superlative
        return [said(one, found)]  # type: ignore[arg-type]
    long = [form.text for form in own if form.use not in ("headline", "sentence")]
    return _by_likeness([*short, *(text for text in long if _likeness(text, draft) >= WHOLE)], draft)


def _by_likeness(texts: list[str], draft: str) -> list[str]:
    return sorted(texts, key=lambda text: -_likeness(text, draft))


def _likeness(text: str, draft: str) -> float:
    return SequenceMatcher(a=canonical.tokens(text), b=canonical.tokens(draft), autojunk=False).ratio()


def _is_no_claim(text: str) -> bool:
    return text.startswith("No claim")


def _words(text: str) -> list[tuple[str, str]]:
    """Each word as it counts, and as it is shown."""
    return [(" ".join(canonical.tokens(word)) or word, word) for word in canonical.shown(text).split()]
