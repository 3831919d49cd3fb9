"""Which marks a scale has, in words, beside what was typed."""

from listening.session.answering import dials
from listening.session.state import State

LONGEST_TOLD = 12  # signs of a number that is no mark


def told(state: State, name: str, typed: str) -> str:
    """The text of that name with the scale's ends and step, and what was typed."""
    dial, point = state.dial, state.words.text("decimal_point")
    low, high, step = (
        text.replace(dials.POINT, point)
        for text in (dial.text(dial.low), dial.text(dial.high), f"{dial.step:g}")
    )
    shown = typed if len(typed) <= LONGEST_TOLD else f"{typed[:LONGEST_TOLD]}..."
    return state.words.text(name, typed=shown, low=low, high=high, step=step)
