"""The first screen: what was compared, what may be printed, how many of what, and what to beware of."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from listening.records.found.findings import Findings
from listening.report.page import imported_words, method_words
from listening.report.page.cards import Card, SuperlativeCard

WORDS = ("supported", "contradicted", "undecided", "no verdict")
FEW = 8  # labels that a line bears
BANNERS = {
    "simulated": "Simulated panel. Nobody listened: the answers are those of a computer model with known "
    "sensitivities. Nothing on this page may be claimed.",
    "interim look": "A look before the planned end, and not the result of the study.",
    "unplanned looks": "The answers were looked at before the planned end without a rule for it.",
    "imported": "The answers were collected elsewhere and came as a table. They describe and decide nothing.",
}
AFTER_LOOK = (
    "After an earlier look: the answers were looked at before this analysis; see the course of the study."
)


@dataclass(frozen=True)
class Top:
    """What stands on the first screen."""

    compared: str
    banners: tuple[tuple[str, str], ...]
    """(first words, the rest)"""
    heading: str
    tally: str
    printable: tuple[tuple[str, str], ...]
    """(sentence, anchor of its card)"""


def of(found: Findings, cards: list[Card], superlatives: list[SuperlativeCard]) -> Top:
    """The first screen of a page."""
    printable = [(c.sentence, f"q-{i}") for i, c in enumerate(cards, 1) if c.is_printable]
    printable += [(c.factor, f"q-{i}") for i, c in enumerate(cards, 1) if c.is_factor_printable]
    printable += [(c.sentence, f"s-{i}") for i, c in enumerate(superlatives, 1) if c.is_printable]
    words = [c.q.word for c in cards] + [c.s.word for c in superlatives]
    return Top(
        compared=_compared(found),
        banners=tuple(_banners(found)),
        heading=_heading(found, len(printable)),
        tally="" if found.imported else _tally(words),
        printable=tuple(printable),
    )


def _compared(found: Findings) -> str:
    who = imported_words.lead(found) if found.imported else method_words.lead(found)
    labels = [s.label for one in found.strengths for s in one.strengths]
    pairs = (pair for q in found.questions for pair in (q.parts or (q,)))
    labels = list(
        dict.fromkeys([*labels, *(x for pair in pairs for x in (pair.more_label, pair.than_label))])
    )
    if not 1 < len(labels) <= FEW:
        return who
    return f"Compared: {', '.join(labels[:-1])} and {labels[-1]}. {who}"


def _banners(found: Findings) -> list[tuple[str, str]]:
    texts = [BANNERS[name] for name in found.cautions if name in BANNERS]
    if found.looks is not None and found.looks.earlier:
        texts.append(AFTER_LOOK)
    cut = [text.partition(". ") if ". " in text else text.partition(": ") for text in texts]
    return [(f"{first}{sign.strip()}", rest) for first, sign, rest in cut]


def _heading(found: Findings, n: int) -> str:
    if found.imported:
        return "What the table says"
    if not n:
        return "No sentence of this test may be printed"
    sentences = f"{'this sentence' if n == 1 else f'these {n} sentences'}"
    if found.simulated:
        return f"Had people listened, you might print {sentences}"
    return f"You may print {sentences}"


def _tally(words: Sequence[str]) -> str:
    """`Of 7 planned: 5 supported, 2 undecided.`"""
    counts = Counter(words)
    told = ", ".join(f"{counts[word]} {word}" for word in WORDS if counts[word] or word != "no verdict")
    return f"Of {len(words)} planned: {told}."
