"""The views of training, of the right answer told, and of a comment."""

from typing import TYPE_CHECKING, Any, Protocol

from listening.session import clip_views, familiarising, offers, whole_range
from listening.session.tasks import letters as letters_of
from listening.session.view import Stage, View

if TYPE_CHECKING:
    from listening.session.sitting import Sitting


class _Maker(Protocol):
    def __call__(self, sitting: "Sitting", **more: Any) -> View: ...


def _training(sitting: "Sitting", **more: Any) -> View:
    text, letters = sitting.words.text, letters_of(sitting.trial)
    number, total = whole_range.place(sitting)
    return View(
        stage=sitting.stage,
        heading=text("training_heading", number=number, total=total),
        question=sitting.attribute.wording,
        body=(text("training_body"),),
        clips=clip_views.clips(sitting, len(letters), letters),
        status=_training_status(sitting),
        actions=offers.actions(sitting),
        **more,
    )


def _training_status(sitting: "Sitting") -> str:
    turn, text, letters = sitting.turn, sitting.words.text, letters_of(sitting.trial)
    if not turn.begun:
        return text("status_unplayed")
    unheard = [letter for i, letter in enumerate(letters) if i not in turn.heard]
    if not sitting.attribute.switching:
        return text("status_silence") if turn.running else text("training_heard")
    return text("status_unheard", letters=", ".join(unheard)) if unheard else text("training_heard")


def _feedback(sitting: "Sitting", **more: Any) -> View:
    letters = letters_of(sitting.trial)
    return View(
        stage=sitting.stage,
        heading=sitting.words.text("rehearsal_heading"),
        question=sitting.attribute.wording,
        body=familiarising.told(sitting),
        clips=clip_views.clips(sitting, len(letters), letters),
        actions=offers.actions(sitting),
        **more,
    )


def _comment(sitting: "Sitting", **more: Any) -> View:
    text = sitting.words.text
    return View(
        stage=sitting.stage,
        heading=text("comment_heading"),
        body=(text("comment_trial" if sitting.step.trial else "comment_end"), text("comment_private")),
        status="" if sitting.words.is_lines else text("comment_typed", typed=sitting.turn.typed),
        actions=offers.actions(sitting),
        **more,
    )


OF_STAGE: dict[Stage, _Maker] = {
    Stage.TRAINING: _training,
    Stage.FEEDBACK: _feedback,
    Stage.COMMENT: _comment,
}
