"""One form in which a finding may be printed, with the wordings that mean the same."""

from dataclasses import dataclass, field
from typing import Literal

Use = Literal["headline", "sentence", "footnote", "long form"]


@dataclass(frozen=True)
class Form:
    """A printable text: templates whose slots may be filled by any of their listed texts."""

    question: str
    """Id of the planned question or superlative."""
    language: str
    use: Use
    templates: tuple[str, ...]
    """The first is printed; the others put the clauses in another order or use a listed synonym."""
    slots: dict[str, tuple[str, ...]]
    """What each slot may say, the printed text first."""
    decimals: dict[str, float] = field(default_factory=dict)
    """Slots that hold a measured number, with its raw value: another number of decimals says the same."""

    @property
    def text(self) -> str:
        """As it is printed."""
        said = self.templates[0].format(**{name: texts[0] for name, texts in self.slots.items()})
        return said[:1].upper() + said[1:]


def fixed(question: str, language: str, use: Use, text: str) -> Form:
    """A form that is printed word for word."""
    return Form(question, language, use, ("{text}.",), {"text": (text.removesuffix("."),)})
