"""The view of each stage, a pure function of the state: words, letters and keys put together."""

from dataclasses import replace
from statistics import median
from typing import Any

from listening.session.actions import Action
from listening.session.showing import further_views, offers, trial_drawing
from listening.session.showing.view import Choice, Stage, View
from listening.session.showing.words import words
from listening.session.state import State

BEFORE_TRIALS = (Stage.WELCOME, Stage.CONSENT, Stage.DECLINING, Stage.FAREWELL, Stage.QUESTIONNAIRE)
LEVEL_SET = ("level_set", "level_set_play")
LEVEL_FREE = ("level_headphones", "level_turn_up", "level_leave_it")
ENGLISH_GOODBYE = words("en").text("goodbye_body")  # what a protocol says that says nothing of its own
TRIALS_FOR_A_PACE = 3  # so many trials are needed before a time to go is said


def view(state: State) -> View:
    """What may be shown now."""
    return replace(_of_stage(state), hint=_hint(state), is_playing=state.turn.running)


def _of_stage(state: State) -> View:
    if state.stage is Stage.TRIAL:
        return _trial(state)
    if state.stage is Stage.INTRODUCTION:
        return _introduction(state)
    if state.stage in further_views.OF_STAGE:
        return further_views.OF_STAGE[state.stage](state, notice=_notice(state), **_progress(state))
    if state.stage is Stage.QUESTIONNAIRE:
        return _questionnaire(state)
    text = state.words.text
    heading = {Stage.OVER: "goodbye_heading"}.get(state.stage, f"{state.stage.value}_heading")
    return View(
        stage=state.stage,
        heading=text(heading),
        body=_body(state),
        status=_check_status(state) if state.stage is Stage.HEARING else "",
        clips=trial_drawing.clips(state, 1) if state.stage is Stage.LEVEL else (),
        notice=_notice(state),
        actions=offers.offered(state),
        **_progress(state),
    )


def _notice(state: State) -> str:
    if state.notice:
        return state.notice
    if state.is_waiting:
        return state.words.text("notice_kept_here")
    return state.words.text("notice_counts") if _counts_from_here(state) else ""


def _counts_from_here(state: State) -> bool:
    """Whether this is the first trial of an attribute after practice on it."""
    trial = state.step.trial
    if state.stage is not Stage.TRIAL or trial is None or trial.practice or trial.follows:
        return False
    own = [t for t in state.trials if t.attribute == trial.attribute]
    is_practised = own[0].practice or state.plan.sitting.practice_until_right > 0
    return is_practised and next(t for t in own if not t.practice).trial == trial.trial


def _body(state: State) -> tuple[str, ...]:
    text, spoken = state.words.text, state.plan.sitting
    match state.stage:
        case Stage.WELCOME:
            opening = text("welcome_back") if state.is_back else spoken.welcome
            return (opening, text("keyboard_only"))
        case Stage.CONSENT:
            return (spoken.consent, text("consent_free"), text("consent_code", code=state.listener))
        case Stage.LEVEL:
            names = LEVEL_SET if state.level_is_set else LEVEL_FREE
            return tuple(text(name) for name in (*names, "level_caution"))
        case Stage.HEARING:
            name = "hearing_running" if state.check.has_begun else "hearing_press"
            return (text(name), text("hearing_ears"), text("hearing_screening"))
        case Stage.BREAK:
            seconds = round(state.rest_s + 0.5) if state.rest_s else 0
            wait = text("break_wait", seconds=seconds) if seconds else text("break_over")
            return (text("break_body"), wait)
        case Stage.GOODBYE:
            own = spoken.goodbye if spoken.goodbye != ENGLISH_GOODBYE else text("goodbye_body")
            return (own, text("goodbye_code", code=state.code))
        case Stage.SESSION_OVER:
            return (_session_over(state),)
        case Stage.OVER:
            return ()
        case _:
            return (text(f"{state.stage.value}_body", code=state.listener),)


def _session_over(state: State) -> str:
    """Which session is over, and from when on the next one may begin."""
    text, plan = state.words.text, state.plan
    hours = f"{plan.sessions_apart_h:g}"
    when = text("session_over_when", hours=hours) if plan.sessions_apart_h else ""
    number, total = state.step.number, plan.n_sessions
    return text("session_over_body", number=number, total=total, when=when, code=state.listener)


def _check_status(state: State) -> str:
    """How far the hearing check is; never whether a tone sounds."""
    check = state.check
    if not check.has_begun:
        return ""
    return state.words.text("hearing_part", number=min(check.n_done + 1, check.n_parts), total=check.n_parts)


def _questionnaire(state: State) -> View:
    return View(
        stage=state.stage,
        heading=state.words.text("questionnaire_heading"),
        question=state.plan.sitting.questionnaire[state.step.number].wording,
        choices=_choices(state),
        status=trial_drawing.answer_status(state) or state.words.text("status_choose_now"),
        notice=_notice(state),
        actions=offers.offered(state),
    )


def _choices(state: State) -> tuple[Choice, ...]:
    allowed = {action.name for action in offers.offered(state)}
    return tuple(
        Choice(o.label, o.shown, o.value == state.turn.chosen, name in allowed, name)
        for o in state.options
        for name in (f"{Action.CHOOSE.word}:{o.value}",)
    )


def _introduction(state: State) -> View:
    clips = state.program.clips
    example = state.words.text("introduction_examples" if clips else "introduction_plain")
    return View(
        stage=state.stage,
        heading=state.words.text("introduction_heading"),
        question=state.attribute.wording,
        body=tuple(line for line in (state.attribute.explanation, example) if line),
        clips=trial_drawing.clips(state, len(clips)),
        status=trial_drawing.sound_status(state) if clips else "",
        notice=_notice(state),
        actions=offers.offered(state),
        **_progress(state),
    )


def _trial(state: State) -> View:
    return View(
        stage=state.stage,
        heading=trial_drawing.heading(state),
        question=state.attribute.wording,
        clips=trial_drawing.trial_clips(state),
        dials=trial_drawing.marks(state),
        **trial_drawing.scale(state),
        choices=_choices(state),
        status=trial_drawing.status(state),
        notice=_notice(state),
        actions=offers.offered(state),
        **_progress(state),
    )


def _progress(state: State) -> dict[str, Any]:
    total = n_trials(state)
    if state.stage in BEFORE_TRIALS or not total:
        return {}
    done = state.n_done - state.n_before_session
    share = done / total
    kind = "progress_answers" if state.plan.sitting.together else "progress"
    if len(state.pace_s) < TRIALS_FOR_A_PACE or done == total:
        return {"progress": state.words.text(kind, done=done, total=total), "share_done": share}
    minutes = max(1, round(median(state.pace_s) * (total - done) / 60))
    line = state.words.text(f"{kind}_minutes", done=done, total=total, minutes=minutes)
    return {"progress": line, "share_done": share}


def n_trials(state: State) -> int:
    """Trials of the session that count."""
    return sum(1 for trial in state.trials if not trial.practice)


def _hint(state: State) -> str:
    """That a key did nothing, as long as that is still so."""
    return state.slip.hint(offers.offered(state), state.words) if state.slip else ""
