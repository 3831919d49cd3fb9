"""What comes without a key: the end of a sound, the passing of time, a wish of the desk."""

from dataclasses import replace

from listening.session.acts import aside_acts, step_acts
from listening.session.showing.view import Stage
from listening.session.sitting_course import ASKED, Course

MAY_LOOP = (Stage.TRAINING, Stage.TRIAL)
MAY_BE_IDLE = (Stage.LEVEL, Stage.INTRODUCTION, *MAY_LOOP, Stage.FEEDBACK, Stage.COMMENT)
MAY_BE_ASKED = (*MAY_BE_IDLE, Stage.QUESTIONNAIRE, Stage.STUCK, Stage.BREAK)
ASKED_END = "end"  # the other wish is `pause`


def follow_sound(course: Course) -> None:
    """See how far the player is."""
    state = course.state
    if state.stage is Stage.HEARING:
        _follow_check(course)
    elif state.turn.running:
        heard = course.hearing.look(state.program, state.turn)
        course.become(turn=heard.turn)
        course.void_if(heard.trouble)


def _follow_check(course: Course) -> None:
    heard = course.check.tick(course.state.turn)
    course.become(turn=heard.turn)
    if heard.trouble:
        course.void(heard.trouble)
        course.check.begin()  # the same tone again
    course.see_check()
    if course.check.is_over:
        step_acts.end_check(course, course.check.result())


def follow_time(course: Course) -> None:
    """What time alone brings: a loop's end, a reminder, a pause because nobody is there."""
    _end_long_loop(course)
    _remind(course)
    if course.state.stage in MAY_BE_IDLE and course.state.times.is_idle(course.state.now_s):
        aside_acts.pause(course, "idle")
        _notice(course, "notice_idle")


def _end_long_loop(course: Course) -> None:
    state = course.state
    if state.stage not in MAY_LOOP or not (state.turn.running and state.program.loops):
        return
    if state.times.is_long_loop(state.turn, state.now_s):
        course.be_silent()
        _notice(course, "notice_loop_over")


def _remind(course: Course) -> None:
    """Once, where the protocol wants answers within a time."""
    state = course.state
    waits = state.stage is Stage.TRIAL and not state.turn.running and state.is_heard
    since_s = state.now_s if state.turn.waits_s is None else state.turn.waits_s
    turn = replace(state.turn, waits_s=since_s if waits else None)
    course.become(turn=turn)
    if not turn.is_late and state.times.is_late(turn, state.now_s):
        course.become(turn=replace(turn, is_late=True))
        _notice(course, "notice_late")
        course.note("late", trial=state.trial.trial)


def do_what_the_desk_asks(course: Course) -> None:
    """Pause or end where the person in charge wants it; each request counts once."""
    state = course.state
    asked = [event.detail for event in course.store.events(course.row.id) if event.kind == ASKED]
    new = asked[state.n_asked :]
    course.become(n_asked=len(asked))
    if not new or state.aside is not None or state.stage not in MAY_BE_ASKED:
        return
    if new[-1] == ASKED_END:
        course.be_silent()
        aside_acts.leave_now(course)
    else:
        aside_acts.pause(course, "asked")
        _notice(course, "notice_asked_pause")


def _notice(course: Course, name: str) -> None:
    course.become(notice=course.state.words.text(name))
