"""Letting sounds be heard: start, switch, keep to a part of a loop."""

from dataclasses import replace

from listening.session.sitting_course import Course
from listening.session.sounding.hearing import WHOLE


def play(course: Course, start: int | None = None) -> None:
    """Start the programme; one that switches goes on with the sound that was heard last."""
    state, program = course.state, course.state.program
    if start is None:
        start = course.hearing.last if state.turn.heard and program.switching else 0
    turn = replace(state.turn, began_s=course.clocks.now_s())
    heard = course.hearing.play(replace(program, start=start), turn)
    course.become(notice="", turn=heard.turn)
    course.void_if(heard.trouble)


def hear(course: Course, sound: int) -> None:
    """Let one of the sounds be heard; a rated one is also the one that the scale keys move."""
    if course.state.turn.running:
        _switch(course, sound)
    else:
        play(course, sound)
    state = course.state
    n_marks = len(state.turn.values)
    row = sound - (len(state.program.clips) - n_marks)
    if n_marks > 1 and 0 <= row < n_marks:
        course.state = state.turned(row=row)


def _switch(course: Course, sound: int) -> None:
    """To another sound; to its start where the protocol says so. The sound that is heard starts again."""
    state = course.state
    is_again = sound == state.turn.clip or state.attribute.switching_to == "start"
    if state.words.is_lines or (is_again and not state.program.loops):
        course.be_silent()
        play(course, sound)
        return
    course.hearing.switch(sound)
    if is_again:
        course.hearing.again()


def part_from(course: Course) -> None:
    """Loop from here; where the other end lies on the wrong side, it gives way."""
    start, last = course.state.turn.share, course.state.turn.part[1]
    _keep_to(course, start, last if last > start else WHOLE[1])


def part_to(course: Course) -> None:
    """Loop to here."""
    first, stop = course.state.turn.part[0], course.state.turn.share
    _keep_to(course, first if first < stop else WHOLE[0], stop)


def part_whole(course: Course) -> None:
    """Loop all of it."""
    _keep_to(course, *WHOLE)


def _keep_to(course: Course, start: float, stop: float) -> None:
    course.become(turn=course.hearing.part(start, stop, course.state.turn))
