"""The methods of asking: which answers a trial offers, in the order they stand on the screen."""

from dataclasses import dataclass

from listening.records.plan import PlannedAttribute
from listening.session.words import Words

LETTERS = "ABCDEFGHIJKL"


@dataclass(frozen=True)
class Option:
    """One answer: what is stored, what is read, and the key that marks it."""

    value: str
    label: str
    key: str

    @property
    def shown(self) -> str:
        """The key as the listener calls it."""
        return self.key.upper()


def options(attribute: PlannedAttribute, words: Words) -> tuple[Option, ...]:
    """The answers that an attribute offers."""
    first = Option("first", words.text("sound", letter="A"), "a")
    second = Option("second", words.text("sound", letter="B"), "b")
    if not attribute.no_difference:
        return (first, second)
    return (first, Option("tie", words.text("no_difference"), "0"), second)
