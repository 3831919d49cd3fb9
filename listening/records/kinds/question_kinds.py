"""The kinds of planned question, one frozen object each: whatever a step needs to know of one is asked here.

Their words stand in `listening.report.sentences.kind_words` and in the language files, under the same name.
"""

from dataclasses import dataclass
from typing import Literal

from listening.records.kinds.tasks import Decided

Kind = Literal["more", "same", "audible"]
Rule = Literal["more", "same"]
OF_ATTRIBUTE: tuple[Decided, ...] = ("share of choices", "points of the scale")
RIGHT_ANSWERS: tuple[Decided, ...] = ("heard at all",)


@dataclass(frozen=True)
class QuestionKind:
    """What is planned to hold, by the name that the protocol and the findings give it."""

    name: Kind
    rule: Rule
    """By which rule of the verdict it is decided."""
    has_direction: bool
    """Whether one of the two is said to have more: it can be turned round, and be a ratio."""
    decided_from: tuple[Decided, ...]
    """What answers have to tell to decide it."""

    @property
    def by_right_answers(self) -> bool:
        """Whether right answers decide it; else what is said of the attribute does."""
        return self.decided_from == RIGHT_ANSWERS

    @property
    def is_equivalence(self) -> bool:
        """Whether it has a margin on both sides, and a limit on the listeners outside it."""
        return self.rule == "same"


ALL = (
    QuestionKind("more", rule="more", has_direction=True, decided_from=OF_ATTRIBUTE),
    QuestionKind("same", rule="same", has_direction=False, decided_from=OF_ATTRIBUTE),
    QuestionKind("audible", rule="more", has_direction=False, decided_from=RIGHT_ANSWERS),
)

_BY_NAME: dict[str, QuestionKind] = {kind.name: kind for kind in ALL}


def named(name: str) -> QuestionKind:
    """The kind of this name.

    Raises
    ------
    KeyError
        No such kind; a loaded protocol or findings file has passed that check.
    """
    return _BY_NAME[name]
