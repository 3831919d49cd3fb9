"""Stepping aside and coming back: a pause, a thought of leaving, a call for help."""

from listening.session.showing.view import Stage
from listening.session.sitting_course import Course


def pause(course: Course, why: str = "") -> None:
    """Stop for a while; `why` says who or what wanted it, empty: the listener."""
    course.be_silent()
    course.become(aside=Stage.PAUSE)
    course.note("paused", detail=why)


def leave(course: Course) -> None:
    """Ask whether to leave."""
    course.be_silent()
    course.become(aside=Stage.LEAVING)


def come_back(course: Course) -> None:
    """Back to the step under way."""
    if course.state.aside is Stage.PAUSE:
        course.become(notice="")
    course.become(aside=None)
    if course.state.step.stage is Stage.HEARING and course.check.has_begun:
        course.check.begin()


def leave_now(course: Course) -> None:
    """Leave; what was answered stays."""
    course.note_exposure()
    course.note("left")
    course.become(aside=Stage.OVER)


def think_about_declining(course: Course) -> None:
    """Ask whether to decline."""
    course.become(aside=Stage.DECLINING)


def decline(course: Course) -> None:
    """No consent: nothing more is asked."""
    course.note("declined")
    course.become(has_declined=True, aside=Stage.FAREWELL)


def call_for_help(course: Course) -> None:
    """Tell the desk."""
    trial = course.state.step.trial
    course.note("help", trial=trial.trial if trial else None)
    course.become(notice=course.state.words.text("notice_help"))
