"""Setting the answer: where a mark is heard at once, the player is told."""

from listening.records.kinds import tasks as task_list
from listening.session.answering import dials, marking
from listening.session.showing.keys import Slip
from listening.session.showing.offers import offered
from listening.session.sitting_course import Course

LONGEST_TOLD = 12  # signs of a number that is refused


def take_typed(course: Course) -> None:
    """A number that stands typed becomes the mark of its sound."""
    if course.state.turn.typed:
        course.state = marking.take_typed(course.state)
        _let_hear(course)


def turn_dial(course: Course, steps: int) -> None:
    """Move the mark of the selected scale."""
    course.state = marking.turn_dial(course.state, steps)
    _let_hear(course)


def put_dial(course: Course, typed: str) -> None:
    """Put the mark of the selected scale."""
    value = marking.number(course.state, typed)
    if value is not None:
        course.state = marking.put_dial(course.state, value)
        _let_hear(course)


def point(course: Course, row: int, share: float) -> bool:
    """Put the mark of a scale where it was pointed at; False where that sound cannot be marked now."""
    pointed = marking.pointed(course.state, row, share)
    if pointed is None:
        return False
    course.state = pointed
    return True


def _let_hear(course: Course) -> None:
    """An adjustment is heard at once."""
    state = course.state
    moved_db = state.turn.values[0]
    if moved_db is not None and task_list.named(state.attribute.task).sheet == "gain":
        course.hearing.gain(1, dials.ADJUSTING_OFFSET_DB + moved_db)


def type_sign(course: Course, sign: str) -> None:
    """One more sign of a number; where it is no mark of the scale any more, that is said."""
    course.state = marking.type_sign(course.state, sign)
    if marking.is_mistyped(course.state):
        say_range(course, course.state.turn.typed)


def refuse_mistyped(course: Course) -> bool:
    """Drop what stands typed and is no mark, and say which the scale has; False where nothing such stands."""
    if not marking.is_mistyped(course.state):
        return False
    typed = course.state.turn.typed
    course.state = course.state.turned(typed="")
    say_range(course, typed)
    return True


def say_range(course: Course, typed: str) -> None:
    """Say which numbers the scale has."""
    state = course.state
    point, dial = state.words.text("decimal_point"), state.dial
    low, high, step = (
        text.replace(dials.POINT, point)
        for text in (dial.text(dial.low), dial.text(dial.high), f"{dial.step:g}")
    )
    shown = typed if len(typed) <= LONGEST_TOLD else f"{typed[:LONGEST_TOLD]}..."
    told = state.words.text("number_outside", typed=shown, low=low, high=high, step=step)
    course.become(slip=Slip(typed, offered(state), told))


def move_row(course: Course, by: int) -> None:
    """Select another rated sound, and let it be heard where something sounds."""
    course.state = marking.move_row(course.state, by)
    turn = course.state.turn
    if turn.running:
        course.hearing.switch(turn.row + len(course.state.program.clips) - len(turn.values))
