"""The views of training, of the right answer told, and of a comment."""

from dataclasses import replace
from typing import Any, Protocol

from listening.session.answering import familiarising
from listening.session.answering.tasks import letters as letters_of
from listening.session.showing import offers, trial_drawing, whole_range
from listening.session.showing.view import Stage, View
from listening.session.state import State


class _Maker(Protocol):
    def __call__(self, state: State, **more: Any) -> View: ...


def _training(state: State, **more: Any) -> View:
    text, letters = state.words.text, letters_of(state.trial)
    number, total = whole_range.place(state)
    return View(
        stage=state.stage,
        heading=text("training_heading", number=number, total=total) if total > 1 else text("training_one"),
        question=state.attribute.wording,
        body=(text("training_body"),),
        clips=trial_drawing.clips(state, len(letters), letters),
        status=_training_status(state),
        actions=offers.offered(state),
        **more,
    )


def _training_status(state: State) -> str:
    turn, text, letters = state.turn, state.words.text, letters_of(state.trial)
    if not turn.begun:
        return text("status_unplayed")
    unheard = [letter for i, letter in enumerate(letters) if i not in turn.heard]
    if not state.attribute.switching:
        return text("status_silence") if turn.running else text("training_heard")
    return text("status_unheard", letters=", ".join(unheard)) if unheard else text("training_heard")


def _feedback(state: State, **more: Any) -> View:
    letters, heard = letters_of(state.trial), state.words.text("heard")
    clips = trial_drawing.clips(state, len(letters), letters)
    return View(
        stage=state.stage,
        heading=state.words.text("rehearsal_heading"),
        question=state.attribute.wording,
        body=familiarising.told(state),
        clips=tuple(c if c.sounding else replace(c, heard=True, state=heard) for c in clips),
        actions=offers.offered(state),
        **more,
    )


def _comment(state: State, **more: Any) -> View:
    text = state.words.text
    return View(
        stage=state.stage,
        heading=text("comment_heading"),
        body=(text("comment_trial" if state.step.trial else "comment_end"), text("comment_private")),
        status="" if state.words.is_lines else text("comment_typed", typed=state.turn.typed),
        actions=offers.offered(state),
        **more,
    )


OF_STAGE: dict[Stage, _Maker] = {
    Stage.TRAINING: _training,
    Stage.FEEDBACK: _feedback,
    Stage.COMMENT: _comment,
}
