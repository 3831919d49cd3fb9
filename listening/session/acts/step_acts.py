"""Getting past a step: read, agreed, understood, told, rehearsed, confirmed."""

from dataclasses import replace

from listening.session.acts import answer_acts, aside_acts, comment_acts
from listening.session.answering import answers, familiarising, going_back, steps
from listening.session.showing.view import Stage
from listening.session.sitting_course import Course
from listening.session.sounding import hearing_check


def go_on(course: Course) -> None:
    """Past what was read, set or understood; out of a pause, back to where it began."""
    state = course.state
    if state.aside is Stage.PAUSE:
        return aside_acts.come_back(course)
    course.be_silent()
    match state.step.stage:
        case Stage.CONSENT:
            course.note("agreed")
        case Stage.LEVEL:
            course.note_exposure()
            course.note("level set", detail=f"plays {state.turn.begun}")
        case Stage.INTRODUCTION:
            name = steps.introduced(state.step.attribute, state.step.number)
            course.note("introduced", detail=f"{name}|understood|plays {state.turn.begun}")
        case Stage.BREAK:
            course.become(times=replace(state.times, rested_s=course.clocks.now_s()))
            course.note("rested", trial=state.trial.trial)
        case Stage.TRAINING:
            course.note("trained", trial=state.trial.trial, detail=f"plays {state.turn.begun}")
        case Stage.COMMENT:
            comment_acts.keep_comment(course)
        case Stage.STUCK:
            course.become(right_in_a_row=0)
            course.note("rehearsed", detail=f"{state.step.attribute}|went on without")
    return course.next_step()


def not_sure(course: Course) -> None:
    """Past an introduction that was not understood; the note tells."""
    course.be_silent()
    state = course.state
    name = steps.introduced(state.step.attribute, state.step.number)
    course.note("introduced", detail=f"{name}|not sure|plays {state.turn.begun}")
    course.next_step()


def tell(course: Course, answer: str) -> None:
    """An answer about the listener."""
    course.note("told", detail=f"{course.state.step.number}|{answer}")
    course.next_step()


def tell_chosen(course: Course) -> None:
    """The answer that is marked."""
    state = course.state
    tell(course, state.options[int(str(state.turn.chosen))].label)


def end(course: Course) -> None:
    """The last key of a stage."""
    match course.state.stage:
        case Stage.FAREWELL:
            course.become(aside=Stage.OVER)
        case Stage.ENOUGH | Stage.SESSION_OVER:
            aside_acts.leave_now(course)
        case _:
            course.next_step()


def confirm(course: Course) -> None:
    """The answer that is marked counts: it is on disk before the next trial is drawn."""
    course.be_silent()
    state, trial = course.state, course.state.trial
    given = answers.given(course.row, trial, state.attribute.task, state.turn, utc=course.clocks.utc())
    answer_acts.keep(course, given)
    course.note_exposure()
    if state.step.rehearsal:
        _count_right(course, state.turn.chosen)
        _tell_right(course)
    if not trial.practice:
        took_s = course.clocks.now_s() - state.turn.entered_s
        course.become(n_done=state.n_done + 1, pace_s=(*state.pace_s, took_s))
    course.become(answered=going_back.remembered(state))
    course.next_step()


def _tell_right(course: Course) -> None:
    """The right answer is told next, where the protocol wants it."""
    first, *behind = course.state.left
    if course.state.plan.sitting.practice_feedback:
        told = replace(first, stage=Stage.FEEDBACK, said=str(course.state.turn.chosen))
        course.become(left=(first, told, *behind))


def _count_right(course: Course, chosen: str | None) -> None:
    """Count right answers in a row about the pair of examples; enough of them end the rehearsal."""
    state, name = course.state, course.state.step.attribute
    is_right = chosen == familiarising.right(state.attribute, state.trial)
    in_a_row = state.right_in_a_row + 1 if is_right else 0
    if in_a_row >= state.plan.sitting.practice_until_right:
        in_a_row = 0
        course.note("rehearsed", detail=f"{name}|told apart")
        behind = (s for s in state.left[1:] if not (s.rehearsal and s.attribute == name))
        course.become(left=(state.left[0], *behind))
    course.become(right_in_a_row=in_a_row)


def rehearse_again(course: Course) -> None:
    """Another round with the pair of examples."""
    state = course.state
    step = state.step
    again = steps.rehearsal(state.plan, state.slot, step.attribute, round_number=step.number + 1)
    course.become(right_in_a_row=0, left=(step, *again, *state.left[1:]))
    course.next_step()


def begin_check(course: Course) -> None:
    """Start the hearing check, or the tone under way again."""
    course.check.begin()
    course.see_check()


def press_at_tone(course: Course) -> None:
    """A tone is heard, the listener says."""
    course.check.press()


def end_check(course: Course, result: str = hearing_check.SKIPPED) -> None:
    """Past the hearing check, done or skipped."""
    course.be_silent()
    course.note_exposure()
    course.note(hearing_check.NOTED, detail=result)
    course.next_step()
