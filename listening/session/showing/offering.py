"""One action as it is offered: its key and its words; light, for the first screen waits for it."""

from listening.session.actions import NAMED_WITH_ANOTHER, Action
from listening.session.showing.view import Offer
from listening.session.showing.words import Words


def offer(action: Action, words: Words) -> Offer:
    """An action with its key and its words in one language."""
    key = words.table.get(f"letter_{action.word}", action.key)
    shown = words.table.get(f"key_{key}", key.upper()) if action not in NAMED_WITH_ANOTHER else ""
    shown = "S T W" if action is Action.PART_FROM else shown  # one entry for the three keys of a part
    return Offer(action, key, shown, words.text(action.label))
