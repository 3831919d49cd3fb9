"""Setting the answer: where a mark is heard at once, the player is told."""

from listening.records.kinds import tasks as task_list
from listening.session.answering import dials, marking
from listening.session.showing import mark_range
from listening.session.showing.keys import Slip
from listening.session.showing.offers import offered
from listening.session.sitting_course import Course


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
    """One more sign of a number, shown as typed."""
    course.state = marking.type_sign(course.state, sign)


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
    told = mark_range.told(course.state, "number_outside", typed)
    course.become(slip=Slip(typed, offered(course.state), told))


def move_row(course: Course, by: int) -> None:
    """Select another rated sound, and let it be heard where something sounds."""
    course.state = marking.move_row(course.state, by)
    turn = course.state.turn
    if turn.running:
        course.hearing.switch(turn.row + len(course.state.program.clips) - len(turn.values))
