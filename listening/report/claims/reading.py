"""What a draft is about, read loosely: conditions, attributes, ways of playing; it never supports."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cached_property

from listening.records.found.findings import Findings
from listening.report.claims import canonical
from listening.report.sentences import language
from listening.report.sentences.form import Form
from listening.report.sentences.language import Language

TYPO = 0.8  # likeness of a mistyped word to a known one
SHORTEST = 4  # letters; shorter words have too many neighbours


@dataclass(frozen=True)
class Named:
    """One condition and the ways in which it is called, longest first."""

    condition: str
    calls: tuple[tuple[str, ...], ...]
    letter: str
    """The one word that tells its name from all others, such as `d` of `dome D`; empty if there is none."""


@dataclass(frozen=True)
class Vocabulary:
    """The words by which drafts on these findings are read."""

    conditions: tuple[Named, ...]
    attributes: dict[str, frozenset[str]]
    """By the protocol's attribute."""
    concepts: dict[str, frozenset[str]]
    """The `read` sections of all languages together."""
    claims: frozenset[str]
    endings: tuple[str, ...]
    harmless: frozenset[str]
    printed: frozenset[str]
    """Every word of the printable forms."""

    @cached_property
    def known(self) -> list[str]:
        """Every word that a mistyped one may be."""
        names = {word for one in self.conditions for call in one.calls for word in call}
        groups = (*self.attributes.values(), *self.concepts.values())
        return sorted(names.union(*groups, self.claims, self.printed))


@dataclass(frozen=True)
class Read:
    """A draft as it was read."""

    said: tuple[str, ...]
    conditions: frozenset[str]
    attributes: frozenset[str]
    concepts: frozenset[str]
    language: Language


def vocabulary(found: Findings, forms: Iterable[Form]) -> Vocabulary:
    """The words of these findings and of every language."""
    files = language.known()
    concepts = {key for words in files for key in words.words["read"]}
    return Vocabulary(
        conditions=tuple(_named(found)),
        attributes={a: frozenset(_of_attribute(a, c)) for a, c in _attributes(found).items()},
        concepts={key: _united(words.words["read"].get(key, ()) for words in files) for key in concepts},
        claims=_united(words.words["claims"]["words"] for words in files),
        endings=tuple(end for words in files for end in words.words["claims"]["endings"]),
        harmless=_united(words.words["claims"]["harmless"] for words in files),
        printed=_united(canonical.tokens(form.text) for form in forms),
    )


def read(draft: str, known: Vocabulary) -> Read:
    """What the draft is about; mistyped words are taken for the known ones they are like."""
    said = tuple(_mended(word, known) for word in canonical.tokens(draft))
    return Read(
        said=said,
        conditions=frozenset(_conditions(draft, said, known)),
        attributes=frozenset(a for a, words in known.attributes.items() if _is_about(said, words)),
        concepts=frozenset(c for c, words in known.concepts.items() if words & set(said)),
        language=_language(said),
    )


def claims_something(draft: str, about: Read, known: Vocabulary) -> bool:
    """Whether a sentence says anything that a test would have to bear; in doubt, it does."""
    if canonical.strange(draft) or about.conditions or about.attributes:
        return True
    return any(
        word[0].isdigit() or word in known.claims or word in "%><=≫≪" or _compares(word, known)
        for word in canonical.tokens(draft)
    )


def _compares(word: str, known: Vocabulary) -> bool:
    long_enough = len(word) > SHORTEST and word not in known.harmless
    return long_enough and word.endswith(known.endings)


def _mended(word: str, known: Vocabulary) -> str:
    if len(word) < SHORTEST or word in known.known or not word.isalpha():
        return word
    near = [
        one for one in known.known if one[0] == word[0]
    ]  # few mistype the first letter; `right` is no `bright`
    close = get_close_matches(word, near, n=1, cutoff=TYPO)
    return close[0] if close else word


def _conditions(draft: str, said: tuple[str, ...], known: Vocabulary) -> Iterator[str]:
    """Conditions that are named; by one letter alone only where none is named in full."""
    taken: set[int] = set()
    found = [one.condition for one in known.conditions if any(_stands(c, said, taken) for c in one.calls)]
    yield from found
    if not found:
        capitals = {word for word in draft.split()[1:] if word.isupper()}
        marks = {word.strip(".,;:!?").lower() for word in capitals}
        yield from (one.condition for one in known.conditions if one.letter and one.letter in marks)


def _stands(call: tuple[str, ...], said: tuple[str, ...], taken: set[int]) -> bool:
    """Whether the words stand together in the draft, where no longer name stands already."""
    places = [i for i in range(len(said) - len(call) + 1) if said[i : i + len(call)] == call]
    free = [i for i in places if not taken.intersection(range(i, i + len(call)))]
    for i in free:
        taken.update(range(i, i + len(call)))
    return bool(free)


def _is_about(said: tuple[str, ...], words: frozenset[str]) -> bool:
    """Whether an attribute is spoken of; `equally loud` speaks of how the sounds were played."""
    held = ("equal", "equally", "same", "gleich", "gleicher")
    return any(word in words and (i == 0 or said[i - 1] not in held) for i, word in enumerate(said))


def _language(said: tuple[str, ...]) -> Language:
    """The language with most of its everyday words in the draft; the first one where none stands out."""
    return max(language.known(), key=lambda words: sum(w in words.words["known_by"] for w in said))


def _named(found: Findings) -> Iterator[Named]:
    labels = _labels(found)
    shorts = {c: canonical.tokens(label.partition(" (")[0]) for c, label in labels.items()}
    common = set.intersection(*map(set, shorts.values())) if len(shorts) > 1 else set()
    for condition, label in labels.items():
        calls = {canonical.tokens(label), canonical.tokens(condition), shorts[condition]}
        own = [word for word in shorts[condition] if word not in common]
        ordered = sorted((call for call in calls if call), key=len, reverse=True)
        yield Named(condition, tuple(ordered), own[0] if len(own) == 1 else "")


def _labels(found: Findings) -> dict[str, str]:
    """Every condition that a question or a set of strengths speaks of, with its label."""
    labels = {s.condition: s.label for one in found.strengths for s in one.strengths}
    for q in found.questions:
        labels |= {q.more: q.more_label, q.than: q.than_label}
    return labels


def _attributes(found: Findings) -> dict[str, str]:
    made = {q.attribute: q.comparative for q in found.questions}
    return made | {s.attribute: s.comparative for s in found.superlatives}


def _of_attribute(attribute: str, comparative: str) -> Iterator[str]:
    """Words by which an attribute is spoken of, in every language; `loudness` is how sounds are matched."""
    if attribute not in ("loudness", "level"):
        yield from canonical.tokens(attribute)
    yield from canonical.tokens(comparative)
    for words in language.known():
        known = words.words["attributes"].get(comparative)
        if known:
            yield from known["read"]
            yield from (word for one in known["comparative"] for word in canonical.tokens(one))


def _united(groups: Iterable[Iterable[str]]) -> frozenset[str]:
    return frozenset(word for group in groups for word in group)
