"""Storing an answer, and changing the last one; what was said first stays in the record."""

from listening.records.dealt.answer import Answer
from listening.session.answering import going_back
from listening.session.sitting_course import Course
from listening.store import revised

TAKEN_BACK = "taken back"


def keep(course: Course, given: Answer) -> None:
    """Store an answer, or that it was changed; durable when this returns."""
    if course.state.step.is_again:
        course.note(revised.REVISED, trial=given.trial, detail=revised.detail(given))
    else:
        course.store.record(given)


def take_back(course: Course) -> None:
    """Show the last trial again; until it is confirmed anew the first answer counts."""
    last = course.state.answered
    if last is None or last.step.trial is None:
        return
    course.be_silent()
    course.note(TAKEN_BACK, trial=last.step.trial.trial)
    course.state = going_back.gone_back(course.state, last)
