"""Which actions each stage offers, and the key of each: a pure function of the state."""

from listening.records.kinds import tasks as task_list
from listening.session.actions import Action
from listening.session.answering import going_back, marking, tasks
from listening.session.answering.dials import POINT
from listening.session.showing.offering import offer
from listening.session.showing.view import Offer, Stage
from listening.session.state import State

POINT_KEYS = {"full_stop": POINT, "comma": ","}  # whichever the keyboard has
LETTERS_SHOWN = 4  # so many letter keys are named one by one
FIXED = {
    Stage.WELCOME: (Action.GO_ON, Action.LEAVE),
    Stage.CONSENT: (Action.AGREE, Action.DECLINE, Action.LEAVE),
    Stage.DECLINING: (Action.DECLINE_NOW, Action.RECONSIDER),
    Stage.FAREWELL: (Action.END,),
    Stage.STUCK: (Action.ONCE_MORE, Action.GO_ON, Action.HELP, Action.LEAVE),
    Stage.PAUSE: (Action.GO_ON, Action.HELP, Action.LEAVE),
    Stage.ENOUGH: (Action.END,),
    Stage.SESSION_OVER: (Action.END,),
    Stage.LEAVING: (Action.LEAVE_NOW, Action.STAY),
    Stage.TROUBLE: (Action.TRY_AGAIN, Action.HELP, Action.LEAVE),
    Stage.GOODBYE: (Action.END,),
}
"""Stages that offer the same whatever happened."""


def offered(state: State) -> tuple[Offer, ...]:
    """What the listener may do now, answers included, in reading order."""
    listed = _listed(state)
    made = [offer(action, state.words) for action in listed if action.key]
    made += [offer(Action.TAKE_BACK, state.words)] if going_back.is_offered(state) else []
    if Action.HEAR in listed:
        made += _hearings(state)
    if Action.DIGIT in listed:
        made += _digits(state)
    if Action.CHOOSE in listed:
        made += [Offer(Action.CHOOSE, o.key, o.shown, o.label, o.value) for o in state.options]
        made += [offer(Action.MARK_UP, state.words), offer(Action.MARK_DOWN, state.words)]
    return tuple(made)


def _listed(state: State) -> tuple[Action, ...]:
    match state.stage:
        case Stage.QUESTIONNAIRE:
            tell = (Action.TELL,) if state.turn.chosen is not None else ()
            return (Action.CHOOSE, *tell, Action.RATHER_NOT, Action.LEAVE)
        case Stage.LEVEL:
            heard = state.turn.finished > 0 and not state.turn.running
            return (_start_or_stop(state), *((Action.LEVEL_RIGHT,) if heard else ()), Action.LEAVE)
        case Stage.HEARING:
            now = Action.HEAR_TONE if state.check.has_begun else Action.BEGIN_CHECK
            return (now, Action.SKIP_CHECK, Action.LEAVE)
        case Stage.INTRODUCTION:
            return _introduction(state)
        case Stage.TRAINING:
            return _training(state)
        case Stage.TRIAL:
            return _trial(state)
        case Stage.FEEDBACK:
            return (_start_or_stop(state), Action.GO_ON, Action.LEAVE)
        case Stage.COMMENT:
            return (Action.GO_ON, *((Action.ERASE,) if state.turn.typed else ()), Action.LEAVE)
        case Stage.BREAK:
            return (Action.LEAVE,) if state.rest_s > 0 else (Action.GO_ON, Action.LEAVE)
        case stage:
            return FIXED.get(stage, ())


def _start_or_stop(state: State) -> Action:
    return Action.STOP_SOUND if state.turn.running else Action.PLAY


def _introduction(state: State) -> tuple[Action, ...]:
    if not state.program.clips:
        return (Action.UNDERSTOOD, Action.NOT_SURE, Action.LEAVE)
    if state.turn.running:
        return (Action.STOP_SOUND, Action.LEAVE)
    if not state.turn.finished:
        return (Action.PLAY, Action.LEAVE)
    return (Action.PLAY, Action.UNDERSTOOD, Action.NOT_SURE, Action.HELP, Action.LEAVE)


def _training(state: State) -> tuple[Action, ...]:
    """Hearing, and going on when every sound of the page was heard."""
    if state.attribute.switching:
        listed, heard = _sound(state), len(state.turn.heard) == len(state.program.clips)
    else:
        listed, heard = (_start_or_stop(state),), state.turn.finished > 0
    aside = () if state.turn.running else (Action.PAUSE, Action.HELP)
    return (*listed, *((Action.GO_ON,) if heard else ()), *aside, Action.LEAVE)


def _trial(state: State) -> tuple[Action, ...]:
    listed = _sound(state)
    if state.is_heard:
        listed += _marks(state) if state.turn.values else (Action.CHOOSE,)
        if marking.is_mistyped(state):
            pass  # first it is taken back
        elif marking.take_typed(state).is_complete:
            listed += (Action.CONFIRM,)
        elif state.turn.typed:
            listed += (Action.TAKE_NUMBER,)
        listed += (Action.ERASE,) if state.turn.typed else ()
    if not state.turn.running:
        listed += (Action.PAUSE, Action.HELP)
    return (*listed, Action.LEAVE)


def _sound(state: State) -> tuple[Action, ...]:
    turn, rules = state.turn, state.plan.sitting
    if state.attribute.switching:
        may_loop = turn.running and state.program.loops
        parts = (Action.PART_FROM, Action.PART_TO, Action.PART_WHOLE) if may_loop else ()
        return (_start_or_stop(state), Action.HEAR, *parts)
    if turn.running:
        return (Action.STOP_SOUND,)
    may_play = turn.begun < rules.plays_at_most or turn.finished < rules.plays_at_least
    return (Action.PLAY,) if may_play else ()


def _marks(state: State) -> tuple[Action, ...]:
    rows = (Action.ROW_UP, Action.ROW_DOWN, Action.SORT_ROWS) if len(state.turn.values) > 1 else ()
    steps = (Action.LESS, Action.MORE, Action.LESS_BY_TEN, Action.MORE_BY_TEN)
    typing = () if task_list.named(state.attribute.task).sheet == "gain" else (Action.DIGIT,)
    return (*rows, *steps, *typing)


def _digits(state: State) -> list[Offer]:
    """One key a digit; the line of keys names them once."""
    dial, text = state.dial, state.words.text
    point = text("decimal_point")
    low, high = (dial.text(end).replace(POINT, point) for end in (dial.low, dial.high))
    label = text("do_type", low=low, high=high)
    shown = f"0-9 {point}" if dial.decimals else "0-9"
    first = Offer(Action.DIGIT, "0", shown, label, "0")
    others = [Offer(Action.DIGIT, str(digit), "", "", str(digit)) for digit in range(1, 10)]
    points = [Offer(Action.DIGIT, key, "", "", sign) for key, sign in POINT_KEYS.items()]
    return [first, *others, *points]


def _hearings(state: State) -> list[Offer]:
    """A letter key for each sound, for going to and fro."""
    letters = tasks.letters(state.trial)
    few = len(letters) <= LETTERS_SHOWN
    shown = " ".join(letters) if few else f"{' '.join(letters[:2])} ... {letters[-1]}"
    first = Offer(Action.HEAR, letters[0].lower(), shown, state.words.text("do_hear"), "0")
    others = [Offer(Action.HEAR, a.lower(), "", "", str(i)) for i, a in enumerate(letters) if i]
    return [first, *others]
