"""The view of each stage: words, letters and keys put together."""

from dataclasses import replace
from statistics import median
from typing import TYPE_CHECKING, Any

from listening.records import tasks as task_list
from listening.records.plan import PlannedTrial
from listening.session import marking, offers, steps
from listening.session.dials import Dial
from listening.session.tasks import LETTERS
from listening.session.tasks import letters as letters_of
from listening.session.turn import Turn
from listening.session.view import Choice, ClipView, DialView, Stage, View
from listening.session.words import words

if TYPE_CHECKING:
    from listening.session.sitting import Sitting

BEFORE_TRIALS = (Stage.WELCOME, Stage.CONSENT, Stage.DECLINING, Stage.FAREWELL, Stage.QUESTIONNAIRE)
LEVEL_SET = ("level_set", "level_set_play")
LEVEL_FREE = ("level_headphones", "level_turn_up", "level_leave_it")
SHARE_STEPS = 40  # a view differs only where a screen would draw something else
ENGLISH_GOODBYE = words("en").text("goodbye_body")  # what a protocol says that says nothing of its own
TRIALS_FOR_A_PACE = 3  # so many trials are needed before a time to go is said


def view(sitting: "Sitting") -> View:
    """What may be shown now."""
    return replace(_of_stage(sitting), hint=sitting.hint(), is_playing=sitting.turn.running)


def _of_stage(sitting: "Sitting") -> View:
    if sitting.stage is Stage.TRIAL:
        return _trial(sitting)
    if sitting.stage is Stage.INTRODUCTION:
        return _introduction(sitting)
    if sitting.stage is Stage.QUESTIONNAIRE:
        return _questionnaire(sitting)
    text = sitting.words.text
    heading = {Stage.OVER: "goodbye_heading"}.get(sitting.stage, f"{sitting.stage.value}_heading")
    return View(
        stage=sitting.stage,
        heading=text(heading),
        body=_body(sitting),
        status=_check_status(sitting) if sitting.stage is Stage.HEARING else "",
        clips=_clips(sitting, 1) if sitting.stage is Stage.LEVEL else (),
        notice=_notice(sitting),
        actions=offers.actions(sitting),
        **_progress(sitting),
    )


def _notice(sitting: "Sitting") -> str:
    if sitting.notice:
        return sitting.notice
    if sitting.is_waiting():
        return sitting.words.text("notice_kept_here")
    return sitting.words.text("notice_counts") if _counts_from_here(sitting) else ""


def _counts_from_here(sitting: "Sitting") -> bool:
    """Whether this is the first trial of an attribute after practice on it."""
    trial = sitting.step.trial
    if sitting.stage is not Stage.TRIAL or trial is None or trial.practice or trial.follows:
        return False
    own = [t for t in _slot(sitting) if t.attribute == trial.attribute]
    is_practised = own[0].practice or sitting.plan.sitting.practice_until_right > 0
    return is_practised and next(t for t in own if not t.practice).trial == trial.trial


def _body(sitting: "Sitting") -> tuple[str, ...]:
    text, spoken = sitting.words.text, sitting.plan.sitting
    match sitting.stage:
        case Stage.WELCOME:
            opening = text("welcome_back") if sitting.is_back else spoken.welcome
            return (opening, text("keyboard_only"))
        case Stage.CONSENT:
            return (spoken.consent, text("consent_free"), text("consent_code", code=sitting.row.listener))
        case Stage.LEVEL:
            names = LEVEL_SET if sitting.level_is_set else LEVEL_FREE
            return tuple(text(name) for name in (*names, "level_caution"))
        case Stage.HEARING:
            name = "hearing_running" if sitting.check.has_begun else "hearing_press"
            return (text(name), text("hearing_ears"), text("hearing_screening"))
        case Stage.BREAK:
            seconds = round(sitting.rest_s() + 0.5) if sitting.rest_s() else 0
            wait = text("break_wait", seconds=seconds) if seconds else text("break_over")
            return (text("break_body"), wait)
        case Stage.GOODBYE:
            own = spoken.goodbye if spoken.goodbye != ENGLISH_GOODBYE else text("goodbye_body")
            return (own, text("goodbye_code", code=sitting.code()))
        case Stage.SESSION_OVER:
            return (_session_over(sitting),)
        case Stage.OVER:
            return ()
        case _:
            return (text(f"{sitting.stage.value}_body", code=sitting.row.listener),)


def _session_over(sitting: "Sitting") -> str:
    """Which session is over, and from when on the next one may begin."""
    text, plan = sitting.words.text, sitting.plan
    hours = f"{plan.sessions_apart_h:g}"
    when = text("session_over_when", hours=hours) if plan.sessions_apart_h else ""
    number, total = sitting.step.number, plan.n_sessions
    return text("session_over_body", number=number, total=total, when=when, code=sitting.row.listener)


def _check_status(sitting: "Sitting") -> str:
    """How far the hearing check is; never whether a tone sounds."""
    check = sitting.check
    if not check.has_begun:
        return ""
    return sitting.words.text(
        "hearing_part", number=min(check.n_done + 1, check.n_parts), total=check.n_parts
    )


def _questionnaire(sitting: "Sitting") -> View:
    return View(
        stage=sitting.stage,
        heading=sitting.words.text("questionnaire_heading"),
        question=sitting.plan.sitting.questionnaire[sitting.step.number].wording,
        choices=_choices(sitting),
        status=_answer_status(sitting) or sitting.words.text("status_choose_now"),
        notice=_notice(sitting),
        actions=offers.actions(sitting),
    )


def _choices(sitting: "Sitting") -> tuple[Choice, ...]:
    allowed = {action.name for action in offers.actions(sitting)}
    return tuple(
        Choice(o.label, o.shown, o.value == sitting.turn.chosen, f"choose:{o.value}" in allowed)
        for o in sitting.options()
    )


def _introduction(sitting: "Sitting") -> View:
    clips = sitting.program().clips
    example = sitting.words.text("introduction_examples" if clips else "introduction_plain")
    return View(
        stage=sitting.stage,
        heading=sitting.words.text("introduction_heading"),
        question=sitting.attribute.wording,
        body=tuple(line for line in (sitting.attribute.explanation, example) if line),
        clips=_clips(sitting, len(clips)),
        status=_sound_status(sitting) if clips else "",
        notice=_notice(sitting),
        actions=offers.actions(sitting),
        **_progress(sitting),
    )


def _trial(sitting: "Sitting") -> View:
    return View(
        stage=sitting.stage,
        heading=_trial_heading(sitting),
        question=sitting.attribute.wording,
        clips=_trial_clips(sitting),
        dials=_dials(sitting),
        **_scale(sitting),
        choices=_choices(sitting),
        status=_trial_status(sitting),
        notice=_notice(sitting),
        actions=offers.actions(sitting),
        **_progress(sitting),
    )


def _scale(sitting: "Sitting") -> dict[str, Any]:
    """Labels of the scale, and where they stand."""
    asked = sitting.attribute
    if not sitting.turn.values or not asked.scale:
        return {}
    dial = sitting.dial()
    return {"scale": asked.scale, "scale_ends": (dial.low, dial.high), "has_bands": asked.scale_bands}


def _trial_heading(sitting: "Sitting") -> str:
    trial, text = sitting.trial, sitting.words.text
    if sitting.step.rehearsal:
        return text("rehearsal_heading")
    heard = steps.pairs(_slot(sitting))
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


def _slot(sitting: "Sitting") -> tuple[PlannedTrial, ...]:
    """The trials of the session under way."""
    return tuple(t for t in _whole_slot(sitting) if t.session == sitting.session)


def _whole_slot(sitting: "Sitting") -> tuple[PlannedTrial, ...]:
    return next(s.trials for s in sitting.plan.slots if s.slot == sitting.row.slot)


def _clips(sitting: "Sitting", n_clips: int, letters: tuple[str, ...] = ()) -> tuple[ClipView, ...]:
    turn, text = sitting.turn, sitting.words.text
    made = []
    for i in range(n_clips):
        sounding = turn.running and turn.clip == i
        state = "playing" if sounding else "heard" if i in turn.heard else "not_heard"
        letter = letters[i] if letters else LETTERS[i] if n_clips > 1 else ""
        share = round(turn.share * SHARE_STEPS) / SHARE_STEPS if sounding else 0.0
        name = text("sound", letter=letter).strip()
        made.append(ClipView(letter, sounding, i in turn.heard, text(state), share, name))
    return tuple(made)


def _trial_clips(sitting: "Sitting") -> tuple[ClipView, ...]:
    """The sounds of a trial; those that have a scale of their own stand with it instead."""
    letters = letters_of(sitting.trial)
    n_rated = len(sitting.turn.values) if task_list.named(sitting.attribute.task).sheet != "gain" else 0
    return _clips(sitting, len(letters), letters)[: len(letters) - n_rated]


def _dials(sitting: "Sitting") -> tuple[DialView, ...]:
    turn, text = sitting.turn, sitting.words.text
    if not turn.values or task_list.named(sitting.attribute.task).sheet == "gain":
        return ()  # an adjustment shows no mark: its place would tell what equal numbers are
    letters = letters_of(sitting.trial)
    clips = _clips(sitting, len(letters), letters)[len(letters) - len(turn.values) :]
    dial = sitting.dial()
    return tuple(
        DialView(
            clip,
            selected=row == turn.row,
            share=_mark_share(turn, row, dial),
            text=_mark_text(turn, row, clip, dial, text("not_rated")),
            parts=round((dial.high - dial.low) / (10 * dial.step)),
        )
        for row in marking.rows(turn)
        for clip in (clips[row],)
    )


def _mark_share(turn: Turn, row: int, dial: Dial) -> float | None:
    """Where the mark stands, or would stand by the number that is being typed."""
    value = float(turn.typed) if turn.typed and row == turn.row else turn.values[row]
    return None if value is None or value < dial.low else (value - dial.low) / (dial.high - dial.low)


def _mark_text(turn: Turn, row: int, clip: ClipView, dial: Dial, unset: str) -> str:
    """The mark in words: what is being typed, the number, or what is missing."""
    if turn.typed and row == turn.row:
        return f"{turn.typed}_"
    value = turn.values[row]
    return dial.text(value) if value is not None else unset if clip.heard else clip.state


def _sound_status(sitting: "Sitting") -> str:
    turn, text = sitting.turn, sitting.words.text
    if not turn.running:
        return "" if turn.finished else text("status_unplayed")
    if turn.clip is None:
        return text("status_silence")
    letters = letters_of(sitting.trial) if sitting.stage is Stage.TRIAL else LETTERS
    return text("status_playing", sound=text("sound", letter=letters[turn.clip]).strip())


def _trial_status(sitting: "Sitting") -> str:
    if sitting.attribute.switching:
        return _switching_status(sitting)
    turn, rules, text = sitting.turn, sitting.plan.sitting, sitting.words.text
    if turn.running or not turn.finished:
        return _sound_status(sitting)
    if turn.finished < rules.plays_at_least:
        return text("status_play_again", times=rules.plays_at_least)
    waiting = _how_to_choose(sitting, rules.plays_at_most - turn.begun)
    if sitting.trial.follows:
        waiting = f"{text('status_same_sounds')} {waiting}"
    return _answer_status(sitting) or waiting


def _how_to_choose(sitting: "Sitting", plays_left: int) -> str:
    text = sitting.words.text
    if sitting.turn.values:
        return text("status_rate_one")
    if plays_left < 1:
        return text("status_choose_now")
    return text("status_choose_once") if plays_left == 1 else text("status_choose", left=plays_left)


def _answer_status(sitting: "Sitting") -> str:
    """How to confirm the answer that is marked, or nothing."""
    turn, text = sitting.turn, sitting.words.text
    if turn.typed:
        return text("status_typed", typed=turn.typed)
    if turn.values:
        return text("status_set") if None not in turn.values else ""
    chosen = next((o.label for o in sitting.options() if o.value == turn.chosen), None)
    return "" if chosen is None else text("status_chosen", answer=chosen)


def _switching_status(sitting: "Sitting") -> str:
    turn, text = sitting.turn, sitting.words.text
    if not turn.begun:
        return text("status_unplayed")
    letters = letters_of(sitting.trial)
    unheard = [letter for i, letter in enumerate(letters) if i not in turn.heard]
    if unheard:
        return text("status_unheard", letters=", ".join(unheard))
    if task_list.named(sitting.attribute.task).sheet == "gain":
        return _adjusting_status(sitting)
    waiting = _answer_status(sitting) or text("status_rate" if turn.values else "status_choose_now")
    return f"{text('status_reference')} {waiting}" if sitting.trial.reference and turn.values else waiting


def _adjusting_status(sitting: "Sitting") -> str:
    """What to turn, always; and that an end of the range is reached."""
    text, at, dial = sitting.words.text, sitting.turn.values[0], sitting.dial()
    told = text("status_adjust" if at is None else "status_adjusted")
    ends = {dial.low: "status_softest", dial.high: "status_loudest"}
    return f"{told} {text(ends[at])}" if at in ends else told


def _progress(sitting: "Sitting") -> dict[str, Any]:
    total = n_trials(sitting)
    if sitting.stage in BEFORE_TRIALS or not total:
        return {}
    done = sitting.n_done - sum(
        1 for t in _whole_slot(sitting) if t.session < sitting.session and not t.practice
    )
    share = done / total
    kind = "progress_answers" if sitting.plan.sitting.together else "progress"
    if len(sitting.pace) < TRIALS_FOR_A_PACE or done == total:
        return {"progress": sitting.words.text(kind, done=done, total=total), "share_done": share}
    minutes = max(1, round(median(sitting.pace) * (total - done) / 60))
    line = sitting.words.text(f"{kind}_minutes", done=done, total=total, minutes=minutes)
    return {"progress": line, "share_done": share}


def n_trials(sitting: "Sitting") -> int:
    """Trials of the session that count."""
    return sum(1 for trial in _slot(sitting) if not trial.practice)
