"""Which act each action stands for."""

from collections.abc import Callable

from listening.session.actions import Action
from listening.session.acts import answer_acts, aside_acts, mark_acts, sound_acts, step_acts
from listening.session.answering import marking
from listening.session.sitting_course import Course

Act = Callable[[Course, str], None]


def _bare(act: Callable[[Course], None]) -> Act:
    """An act whose action comes without an argument."""
    return lambda course, argument: act(course)


def _choose(course: Course, value: str) -> None:
    course.state = marking.choose(course.state, value)


def _move(by: int) -> Act:
    def act(course: Course, argument: str) -> None:
        course.state = marking.move(course.state, by)

    return act


def _erase(course: Course, argument: str) -> None:
    course.state = marking.erase(course.state)


def _sort(course: Course, argument: str) -> None:
    course.state = marking.sort_rows(course.state)


def _taken(course: Course, argument: str) -> None:
    """The number was taken before, as by every other key."""


def _dial(steps: int) -> Act:
    return lambda course, argument: mark_acts.turn_dial(course, steps)


def _row(by: int) -> Act:
    return lambda course, argument: mark_acts.move_row(course, by)


ACTS: dict[Action, Act] = {
    Action.GO_ON: _bare(step_acts.go_on),
    Action.AGREE: _bare(step_acts.go_on),
    Action.LEVEL_RIGHT: _bare(step_acts.go_on),
    Action.UNDERSTOOD: _bare(step_acts.go_on),
    Action.NOT_SURE: _bare(step_acts.not_sure),
    Action.ONCE_MORE: _bare(step_acts.rehearse_again),
    Action.END: _bare(step_acts.end),
    Action.TELL: _bare(step_acts.tell_chosen),
    Action.RATHER_NOT: lambda course, argument: step_acts.tell(course, "rather not say"),
    Action.BEGIN_CHECK: _bare(step_acts.begin_check),
    Action.HEAR_TONE: _bare(step_acts.press_at_tone),
    Action.SKIP_CHECK: _bare(step_acts.end_check),
    Action.CONFIRM: _bare(step_acts.confirm),
    Action.TAKE_BACK: _bare(answer_acts.take_back),
    Action.DECLINE: _bare(aside_acts.think_about_declining),
    Action.DECLINE_NOW: _bare(aside_acts.decline),
    Action.RECONSIDER: _bare(aside_acts.come_back),
    Action.PAUSE: _bare(aside_acts.pause),
    Action.LEAVE: _bare(aside_acts.leave),
    Action.LEAVE_NOW: _bare(aside_acts.leave_now),
    Action.STAY: _bare(aside_acts.come_back),
    Action.TRY_AGAIN: _bare(aside_acts.come_back),
    Action.HELP: _bare(aside_acts.call_for_help),
    Action.PLAY: _bare(sound_acts.play),
    Action.STOP_SOUND: _bare(Course.be_silent),
    Action.HEAR: lambda course, argument: sound_acts.hear(course, int(argument)),
    Action.PART_FROM: _bare(sound_acts.part_from),
    Action.PART_TO: _bare(sound_acts.part_to),
    Action.PART_WHOLE: _bare(sound_acts.part_whole),
    Action.CHOOSE: _choose,
    Action.MARK_UP: _move(-1),
    Action.MARK_DOWN: _move(1),
    Action.ROW_UP: _row(-1),
    Action.ROW_DOWN: _row(1),
    Action.LESS: _dial(-1),
    Action.MORE: _dial(1),
    Action.LESS_BY_TEN: _dial(-10),
    Action.MORE_BY_TEN: _dial(10),
    Action.PUT: mark_acts.put_dial,
    Action.DIGIT: mark_acts.type_sign,
    Action.TAKE_NUMBER: _taken,
    Action.ERASE: _erase,
    Action.SORT_ROWS: _sort,
}
