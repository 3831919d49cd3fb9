"""Writing a comment down."""

from listening.session.answering.commenting import AT_END, COMMENT
from listening.session.sitting_course import Course


def keep_comment(course: Course) -> None:
    """Store what was typed, without spaces around it; that nothing was written is told of the end only."""
    step, text = course.state.step, " ".join(course.state.turn.typed.split())
    if step.trial is None:
        course.note(COMMENT, detail=f"{AT_END}|{text}")
    elif text:
        course.note(COMMENT, trial=step.trial.trial, detail=text)
