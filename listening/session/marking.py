"""How keys move an answer's mark: along a list, along a scale, and from one rated sound to another."""

from typing import TYPE_CHECKING

from listening.session import dials

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
    if sitting.attribute.task == "adjustment":
        sitting.hearing.gain(1, dials.ADJUSTING_OFFSET_DB + kept)


def move_row(sitting: "Sitting", by: int) -> None:
    """Select another rated sound, and let it be heard where something sounds."""
    turn = sitting.turn
    turn.row = min(max(turn.row + by, 0), len(turn.values) - 1)
    if turn.running:
        sitting.hearing.switch(turn.row + len(sitting.program().clips) - len(turn.values))
