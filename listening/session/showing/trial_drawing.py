"""What stands on the screen of a trial: its sounds, its marks, and the line that says what to do next."""

from typing import Any

from listening.records.kinds import tasks as task_list
from listening.session.answering import marking, steps
from listening.session.answering.dials import POINT
from listening.session.answering.tasks import LETTERS
from listening.session.answering.tasks import letters as letters_of
from listening.session.showing import mark_range
from listening.session.showing.view import ClipView, DialView, Stage
from listening.session.state import State

TYPED_SHOWN = 8  # signs of a number that is being typed
SHARE_STEPS = 40  # a view differs only where a screen would draw something else


def scale(state: State) -> dict[str, Any]:
    """Labels of the scale, and where they stand."""
    asked = state.attribute
    if not state.turn.values or not asked.scale:
        return {}
    dial = state.dial
    return {"scale": asked.scale, "scale_ends": (dial.low, dial.high), "has_bands": asked.scale_bands}


def heading(state: State) -> str:
    trial, text = state.trial, state.words.text
    if state.step.rehearsal:
        return text("rehearsal_heading")
    heard = steps.pairs(state.trials)
    at = next(pair for pair in heard if trial in pair)
    alike = [
        pair
        for pair in heard
        if pair[0].practice == trial.practice
        and (not trial.practice or at[0].attribute in {t.attribute for t in pair})
    ]
    name = "practice_heading" if trial.practice else "trial_heading"
    heading = text(name, number=alike.index(at) + 1, total=len(alike))
    if len(at) == 1:
        return heading
    return text("heading_question", heading=heading, number=at.index(trial) + 1, total=len(at))


def clips(state: State, n_clips: int, letters: tuple[str, ...] = ()) -> tuple[ClipView, ...]:
    turn, text = state.turn, state.words.text
    made = []
    for i in range(n_clips):
        sounding = turn.running and turn.clip == i
        told = "playing" if sounding else "heard" if i in turn.heard else "not_heard"
        letter = letters[i] if letters else LETTERS[i] if n_clips > 1 else ""
        share = round(turn.share * SHARE_STEPS) / SHARE_STEPS if sounding else 0.0
        name = text("sound", letter=letter).strip()
        made.append(ClipView(letter, sounding, i in turn.heard, text(told), share, name))
    return tuple(made)


def trial_clips(state: State) -> tuple[ClipView, ...]:
    """The sounds of a trial; those that have a scale of their own stand with it instead."""
    letters = letters_of(state.trial)
    n_rated = len(state.turn.values) if task_list.named(state.attribute.task).sheet != "gain" else 0
    return clips(state, len(letters), letters)[: len(letters) - n_rated]


def marks(state: State) -> tuple[DialView, ...]:
    turn = state.turn
    if not turn.values or task_list.named(state.attribute.task).sheet == "gain":
        return ()  # an adjustment shows no mark: its place would tell what equal numbers are
    letters = letters_of(state.trial)
    rated = clips(state, len(letters), letters)[len(letters) - len(turn.values) :]
    dial = state.dial
    return tuple(
        DialView(
            clip,
            selected=row == turn.row,
            share=_mark_share(state, row),
            text=_mark_text(state, row, clip),
            parts=round((dial.high - dial.low) / (10 * dial.step)),
        )
        for row in marking.rows(turn)
        for clip in (rated[row],)
    )


def _mark_share(state: State, row: int) -> float | None:
    """Where the mark stands, or would stand by the number that is being typed."""
    turn, dial = state.turn, state.dial
    is_typed = turn.typed and row == turn.row
    value = marking.number(state, turn.typed) if is_typed else turn.values[row]
    return None if value is None else (value - dial.low) / (dial.high - dial.low)


def _mark_text(state: State, row: int, clip: ClipView) -> str:
    """The mark in words: what is being typed, as typed, the number, or what is missing."""
    turn, text = state.turn, state.words.text
    if turn.typed and row == turn.row:
        shown = turn.typed if len(turn.typed) <= TYPED_SHOWN else f"...{turn.typed[-TYPED_SHOWN:]}"
        return f"{shown}_"
    value = turn.values[row]
    if value is not None:
        return state.dial.text(value).replace(POINT, text("decimal_point"))
    return text("not_rated") if clip.heard else clip.state


def sound_status(state: State) -> str:
    turn, text = state.turn, state.words.text
    if not turn.running:
        return "" if turn.finished else text("status_unplayed")
    if turn.clip is None:
        return text("status_silence")
    letters = letters_of(state.trial) if state.stage is Stage.TRIAL else LETTERS
    return text("status_playing", sound=text("sound", letter=letters[turn.clip]).strip())


def status(state: State) -> str:
    if state.attribute.switching:
        return _switching_status(state)
    turn, rules, text = state.turn, state.plan.sitting, state.words.text
    if turn.running or not turn.finished:
        return sound_status(state)
    if turn.finished < rules.plays_at_least:
        return text("status_play_again", times=rules.plays_at_least)
    waiting = _how_to_choose(state, rules.plays_at_most - turn.begun)
    if state.trial.follows:
        waiting = f"{text('status_same_sounds')} {waiting}"
    return answer_status(state) or waiting


def _how_to_choose(state: State, plays_left: int) -> str:
    text = state.words.text
    if state.turn.values:
        return text("status_rate_one")
    if plays_left < 1:
        return text("status_choose_now")
    return text("status_choose_once") if plays_left == 1 else text("status_choose", left=plays_left)


def answer_status(state: State) -> str:
    """How to confirm the answer that is marked, or nothing."""
    turn, text = state.turn, state.words.text
    if marking.is_mistyped(state):
        return mark_range.told(state, "status_mistyped", turn.typed)
    if turn.typed:
        is_last = marking.take_typed(state).is_complete
        return text("status_typed_last" if is_last else "status_typed", typed=turn.typed)
    if turn.values:
        return text("status_set") if None not in turn.values else ""
    chosen = next((o.label for o in state.options if o.value == turn.chosen), None)
    return "" if chosen is None else text("status_chosen", answer=chosen)


def _switching_status(state: State) -> str:
    turn, text = state.turn, state.words.text
    if not turn.begun:
        return text("status_unplayed")
    letters = letters_of(state.trial)
    unheard = [letter for i, letter in enumerate(letters) if i not in turn.heard]
    if unheard:
        return text("status_unheard", letters=", ".join(unheard))
    if task_list.named(state.attribute.task).sheet == "gain":
        return _adjusting_status(state)
    if marking.is_mistyped(state):
        return answer_status(state)
    waiting = answer_status(state) or text("status_rate" if turn.values else "status_choose_now")
    return f"{text('status_reference')} {waiting}" if state.trial.reference and turn.values else waiting


def _adjusting_status(state: State) -> str:
    """What to turn, always; and that an end of the range is reached."""
    text, at, dial = state.words.text, state.turn.values[0], state.dial
    told = text("status_adjust" if at is None else "status_adjusted")
    ends = {dial.low: "status_softest", dial.high: "status_loudest"}
    return f"{told} {text(ends[at])}" if at in ends else told
