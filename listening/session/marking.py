"""How keys move an answer's mark: along a list, along a scale, and from one rated sound to another."""

from typing import TYPE_CHECKING

from listening.records import tasks as task_list
from listening.session import dials
from listening.session.turn import Turn

if TYPE_CHECKING:
    from listening.session.sitting import Sitting


def choose(sitting: "Sitting", value: str) -> None:
    """Mark one answer of a list."""
    sitting.turn.chosen, sitting.turn.answered_s = value, sitting.now_s()


def move(sitting: "Sitting", by: int) -> None:
    """Move the mark along the list; it appears at the end that it is moved from."""
    values = [option.value for option in sitting.options()]
    if sitting.turn.chosen is None:
        choose(sitting, values[0 if by > 0 else -1])
    else:
        at = values.index(sitting.turn.chosen) + by
        choose(sitting, values[min(max(at, 0), len(values) - 1)])


def turn_dial(sitting: "Sitting", steps: int) -> None:
    """Move the mark of the selected scale by so many steps."""
    put_dial(sitting, dials.move(sitting.turn, sitting.dial(), steps))


def put_dial(sitting: "Sitting", value: float) -> None:
    """Put the mark of the selected scale; an adjustment is heard at once."""
    kept = dials.put(sitting.turn, sitting.dial(), value)
    sitting.turn.answered_s = sitting.now_s()
    if task_list.named(sitting.attribute.task).sheet == "gain":
        sitting.hearing.gain(1, dials.ADJUSTING_OFFSET_DB + kept)


def is_number(sitting: "Sitting", name: str) -> bool:
    """Whether `put:NUMBER` is a mark of the scale of the trial under way."""
    word, _, number = name.partition(":")
    if word != "put" or not sitting.turn.values:
        return False
    try:
        return sitting.dial().has(float(number))
    except ValueError:
        return False


def type_digit(sitting: "Sitting", digit: str) -> bool:
    """One more digit or the point of a number; False, and nothing changes, where no mark begins so."""
    dial, typed = sitting.dial(), sitting.turn.typed + digit
    whole, point, behind = typed.partition(dials.POINT)
    whole = whole.lstrip("0") or "0"
    if not typed[0].isdecimal() or len(behind) > dial.decimals or (point and not dial.decimals):
        return False
    value = float(f"{whole}.{behind or 0}")
    is_low = value < dial.low and len(whole) >= len(f"{dial.high:g}")  # no further digit could lift it
    if value > dial.high or is_low or dials.POINT in behind:
        return False
    sitting.turn.typed = whole + point + behind
    return True


def erase(sitting: "Sitting") -> None:
    """Take back the last digit."""
    sitting.turn.typed = sitting.turn.typed[:-1]


def take_typed(sitting: "Sitting") -> None:
    """A number that stands typed becomes the mark of its sound, whatever key comes next."""
    if sitting.turn.typed and sitting.turn.values:
        typed, sitting.turn.typed = sitting.turn.typed, ""
        put_dial(sitting, float(typed))


def move_row(sitting: "Sitting", by: int) -> None:
    """Select another rated sound, and let it be heard where something sounds."""
    turn = sitting.turn
    shown = rows(turn)
    turn.row = shown[min(max(shown.index(turn.row) + by, 0), len(shown) - 1)]
    if turn.running:
        sitting.hearing.switch(turn.row + len(sitting.program().clips) - len(turn.values))


def rows(turn: Turn) -> list[int]:
    """The rated sounds in the order in which they stand on the screen."""
    return turn.order or list(range(len(turn.values)))


def sort_rows(sitting: "Sitting") -> None:
    """Let the rated sounds stand from the highest mark to the lowest, those without a mark last."""
    turn = sitting.turn
    marks = [-1.0 if value is None else value for value in turn.values]
    turn.order = sorted(range(len(marks)), key=lambda row: (-marks[row], row))
