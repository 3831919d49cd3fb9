"""What is said when a key does nothing: which one, and which keys work now."""

from collections.abc import Sequence
from dataclasses import dataclass

from listening.session.showing.view import Offer
from listening.session.showing.words import Words


@dataclass(frozen=True)
class Slip:
    """A key that did nothing, and what was offered then."""

    shown: str
    """Empty where the key has no name."""
    offered: tuple[Offer, ...]
    reason: str = ""
    """Why, where there is more to say than which keys work."""

    def hint(self, actions: Sequence[Offer], words: Words) -> str:
        """One line about it, as long as the same is offered."""
        if tuple(actions) != self.offered:
            return ""
        if self.reason:
            return self.reason
        working = list(dict.fromkeys(action.shown for action in actions if action.shown))
        key = self.shown or words.text("this_key")
        return words.text("wrong_key", key=key, keys=", ".join(working)) if working else ""
