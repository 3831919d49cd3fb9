"""How keys move an answer's mark: along a list, along a scale, and from one rated sound to another."""

import re
from dataclasses import replace

from listening.session.answering import dials
from listening.session.answering.turn import Turn
from listening.session.showing.view import Stage
from listening.session.state import State

PLAIN = re.compile(r"[0-9]+([.,][0-9]*)?")
MOST_SIGNS = 64  # beyond them nothing is added: no scale has a number so long


def choose(state: State, value: str) -> State:
    """Mark one answer of a list."""
    return state.turned(chosen=value, answered_s=state.now_s)


def move(state: State, by: int) -> State:
    """Move the mark along the list; it appears at the end that it is moved from."""
    values = [option.value for option in state.options]
    if state.turn.chosen is None:
        return choose(state, values[0 if by > 0 else -1])
    at = values.index(state.turn.chosen) + by
    return choose(state, values[min(max(at, 0), len(values) - 1)])


def turn_dial(state: State, steps: int) -> State:
    """Move the mark of the selected scale by so many steps."""
    return _marked(state, dials.moved(state.turn, state.dial, steps))


def put_dial(state: State, value: float) -> State:
    """Put the mark of the selected scale."""
    return _marked(state, dials.put(state.turn, state.dial, value))


def _marked(state: State, turn: Turn) -> State:
    return replace(state, turn=replace(turn, answered_s=state.now_s))


def pointed(state: State, place: int, share: float) -> State | None:
    """The mark at a share, 0 to 1, of the scale in that place; None before its sound was heard."""
    shown = rows(state.turn)
    if state.stage is not Stage.TRIAL or not 0 <= place < len(shown) or state.dial.appears is False:
        return None
    selected = state.turned(row=shown[place], typed="")
    dial = state.dial
    return put_dial(selected, dial.low + share * (dial.high - dial.low)) if selected.is_heard else None


def is_number(state: State, text: str) -> bool:
    """Whether a text is a mark of the scale of the trial under way."""
    return number(state, text) is not None


def is_early(state: State, shown: str) -> bool:
    """Whether a key is that of an answer for which not enough was heard yet."""
    if state.turn.values:
        return not state.is_heard and shown[:1].isdecimal()
    return shown in {option.shown for option in state.options}


def number(state: State, text: str) -> float | None:
    """The mark that a text stands for; None where the scale has none such, or it is no plain number."""
    if not state.turn.values or not PLAIN.fullmatch(text):
        return None
    value = float(text.replace(",", dials.POINT))
    return value if state.dial.has(value) else None


def type_sign(state: State, sign: str) -> State:
    """One more sign of a number, as it is typed; whether it is a mark is said at once."""
    return state.turned(typed=(state.turn.typed + sign)[:MOST_SIGNS])


def is_mistyped(state: State) -> bool:
    """Whether what stands typed is no mark of the scale."""
    return bool(state.turn.typed) and state.stage is Stage.TRIAL and not is_number(state, state.turn.typed)


def erase(state: State) -> State:
    """Take back the last sign."""
    return state.turned(typed=state.turn.typed[:-1])


def take_typed(state: State) -> State:
    """A number that stands typed becomes the mark of its sound, whatever key comes next."""
    value = number(state, state.turn.typed)
    return state if value is None else put_dial(state.turned(typed=""), value)


def move_row(state: State, by: int) -> State:
    """Select another rated sound."""
    shown = rows(state.turn)
    return state.turned(row=shown[min(max(shown.index(state.turn.row) + by, 0), len(shown) - 1)])


def rows(turn: Turn) -> tuple[int, ...]:
    """The rated sounds in the order in which they stand on the screen."""
    return turn.order or tuple(range(len(turn.values)))


def sort_rows(state: State) -> State:
    """Let the rated sounds stand from the highest mark to the lowest, those without a mark last."""
    marks = [-1.0 if value is None else value for value in state.turn.values]
    return state.turned(order=tuple(sorted(range(len(marks)), key=lambda row: (-marks[row], row))))
