"""When the last answer may still be changed: until the next sounds are heard, where the protocol lets it."""

from dataclasses import replace

from listening.session.actions import Action
from listening.session.showing.view import Stage
from listening.session.state import Answered, State

KEEP_IT = {Action.TAKE_BACK, Action.HELP, Action.PAUSE, Action.LEAVE, Action.STAY}
"""Acts after which it may still be changed."""
MAY_STAND_AT = {
    Stage.TRIAL,
    Stage.TRAINING,
    Stage.INTRODUCTION,
    Stage.COMMENT,
    Stage.BREAK,
    Stage.GOODBYE,
}


def is_offered(state: State) -> bool:
    """Whether the last answer may be changed now."""
    return state.answered is not None and state.stage in MAY_STAND_AT and not state.turn.typed


def remembered(state: State) -> Answered | None:
    """The trial under way as it is confirmed, if its answer may be changed later."""
    if state.step.rehearsal or not state.plan.sitting.may_go_back:
        return None
    return Answered(replace(state.step, is_again=True), state.turn)


def gone_back(state: State, answered: Answered) -> State:
    """The trial stands before the others again, as it was confirmed."""
    counted = answered.step.trial is not None and not answered.step.trial.practice
    return replace(
        state,
        left=(answered.step, *state.left),
        turn=answered.turn,
        n_done=state.n_done - counted,
        answered=None,
        notice="",
    )
