"""How keys move an answer's mark: along a list, along a scale, and from one rated sound to another."""

from dataclasses import replace

from listening.session.answering import dials
from listening.session.answering.turn import Turn
from listening.session.showing.view import Stage
from listening.session.state import State


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
    if not state.turn.values:
        return False
    try:
        return state.dial.has(float(text))
    except ValueError:
        return False


def type_digit(state: State, digit: str) -> State | None:
    """One more digit or the point of a number; None where no mark begins so."""
    dial, typed = state.dial, state.turn.typed + digit
    whole, point, behind = typed.partition(dials.POINT)
    whole = whole.lstrip("0") or "0"
    if not typed[0].isdecimal() or len(behind) > dial.decimals or (point and not dial.decimals):
        return None
    value = float(f"{whole}.{behind or 0}")
    is_low = value < dial.low and len(whole) >= len(f"{dial.high:g}")  # no further digit could lift it
    if value > dial.high or is_low or dials.POINT in behind:
        return None
    return state.turned(typed=whole + point + behind)


def erase(state: State) -> State:
    """Take back the last digit."""
    return state.turned(typed=state.turn.typed[:-1])


def take_typed(state: State) -> State:
    """A number that stands typed becomes the mark of its sound, whatever key comes next."""
    typed = state.turn.typed
    return put_dial(state.turned(typed=""), float(typed)) if typed else state


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
