"""Which actions each stage offers, and the key of each."""

from typing import TYPE_CHECKING

from listening.records import tasks as task_list
from listening.session import tasks
from listening.session.dials import POINT
from listening.session.view import Action, Stage
from listening.session.words import Words

if TYPE_CHECKING:
    from listening.session.sitting import Sitting

KEYS = {
    "go_on": "enter",
    "agree": "y",
    "decline": "n",
    "decline_now": "d",
    "reconsider": "escape",
    "play": "space",
    "stop_sound": "space",
    "level_right": "enter",
    "understood": "enter",
    "not_sure": "n",
    "begin_check": "enter",
    "hear_tone": "space",
    "skip_check": "n",
    "tell": "enter",
    "rather_not": "n",
    "once_more": "r",
    "confirm": "enter",
    "mark_up": "up",
    "mark_down": "down",
    "pause": "p",
    "leave": "escape",
    "stay": "escape",
    "try_again": "enter",
    "row_up": "up",
    "row_down": "down",
    "less": "left",
    "more": "right",
    "less_by_ten": "pagedown",
    "more_by_ten": "pageup",
    "take_number": "enter",
    "erase": "backspace",
    "sort_rows": "o",
    "part_from": "s",
    "part_to": "t",
    "part_whole": "w",
    "help": "f1",
    "leave_now": "y",
    "end": "enter",
}
POINT_KEYS = ("full_stop", "comma")  # whichever the keyboard has
LETTERS_SHOWN = 4  # so many letter keys are named one by one
SILENT = {"mark_up", "row_up", "less", "more_by_ten", "part_to", "part_whole"}  # another key names both
LABELS = {
    "leave_now": "leave",
    "tell": "confirm",
    "more_by_ten": "less_by_ten",
    "part_to": "part_from",
    "part_whole": "part_from",
}  # where the words differ from the action's name


def actions(sitting: "Sitting") -> tuple[Action, ...]:
    """What the listener may do now, answers included, in reading order."""
    names = _names(sitting)
    made = [_action(name, sitting.words) for name in names if name in KEYS]
    if "hear" in names:
        made += _hearings(sitting)
    if "type" in names:
        made += _digits(sitting)
    if "choose" in names:
        made += [Action(f"choose:{o.value}", o.key, o.shown, o.label) for o in sitting.options()]
        made += [_action("mark_up", sitting.words), _action("mark_down", sitting.words)]
    return tuple(made)


def _digits(sitting: "Sitting") -> list[Action]:
    """One key a digit; the line of keys names them once."""
    dial = sitting.dial()
    label = sitting.words.text("do_type", low=dial.text(dial.low), high=dial.text(dial.high))
    shown = f"0-9 {sitting.words.text('decimal_point')}" if dial.decimals else "0-9"
    points = [Action(f"digit:{POINT}", key, "", "") for key in POINT_KEYS] if dial.decimals else []
    return [
        Action(f"digit:{digit}", str(digit), shown if not digit else "", label if not digit else "")
        for digit in range(10)
    ] + points


def _action(name: str, words: Words) -> Action:
    key = words.table.get(f"letter_{name}", KEYS[name])
    shown = words.table.get(f"key_{key}", key.upper()) if name not in SILENT else ""
    shown = "S T W" if name == "part_from" else shown  # one entry for the three keys of a part
    return Action(name, key, shown, words.text(f"do_{LABELS.get(name, name)}"))


def _names(sitting: "Sitting") -> list[str]:
    match sitting.stage:
        case Stage.WELCOME:
            return ["go_on", "leave"]
        case Stage.CONSENT:
            return ["agree", "decline", "leave"]
        case Stage.DECLINING:
            return ["decline_now", "reconsider"]
        case Stage.FAREWELL:
            return ["end"]
        case Stage.QUESTIONNAIRE:
            return ["choose", *(["tell"] if sitting.turn.chosen is not None else []), "rather_not", "leave"]
        case Stage.STUCK:
            return ["once_more", "go_on", "help", "leave"]
        case Stage.LEVEL:
            return ["stop_sound" if sitting.turn.running else "play", *_after_hearing(sitting, "level_right")]
        case Stage.HEARING:
            return ["hear_tone" if sitting.check.has_begun else "begin_check", "skip_check", "leave"]
        case Stage.INTRODUCTION:
            return _introduction(sitting)
        case Stage.TRIAL:
            return _trial(sitting)
        case Stage.BREAK:
            return ["leave"] if sitting.rest_s() > 0 else ["go_on", "leave"]
        case Stage.PAUSE:
            return ["go_on", "help", "leave"]
        case Stage.ENOUGH | Stage.SESSION_OVER:
            return ["end"]
        case Stage.LEAVING:
            return ["leave_now", "stay"]
        case Stage.TROUBLE:
            return ["try_again", "help", "leave"]
        case Stage.GOODBYE:
            return ["end"]
        case _:
            return []


def _after_hearing(sitting: "Sitting", name: str) -> list[str]:
    heard = sitting.turn.finished > 0 and not sitting.turn.running
    return [name, "leave"] if heard else ["leave"]


def _introduction(sitting: "Sitting") -> list[str]:
    if not sitting.program().clips:
        return ["understood", "not_sure", "leave"]
    if sitting.turn.running:
        return ["stop_sound", "leave"]
    if not sitting.turn.finished:
        return ["play", "leave"]
    return ["play", "understood", "not_sure", "help", "leave"]


def _hearings(sitting: "Sitting") -> list[Action]:
    """A letter key for each sound, for going to and fro."""
    label, letters = sitting.words.text("do_hear"), tasks.letters(sitting.trial)
    every = (
        " ".join(letters) if len(letters) <= LETTERS_SHOWN else f"{' '.join(letters[:2])} ... {letters[-1]}"
    )
    return [
        Action(f"hear:{i}", letter.lower(), every if i == 0 else "", label if i == 0 else "")
        for i, letter in enumerate(letters)
    ]


def _trial(sitting: "Sitting") -> list[str]:
    names = _sound(sitting)
    if is_heard(sitting):
        names += _marks(sitting) if sitting.turn.values else ["choose"]
        if sitting.turn.typed:
            names += ["take_number", "erase"]
        elif _is_complete(sitting):
            names.append("confirm")
    if not sitting.turn.running:
        names += ["pause", "help"]
    return [*names, "leave"]


def _sound(sitting: "Sitting") -> list[str]:
    turn, rules = sitting.turn, sitting.plan.sitting
    if sitting.attribute.switching:
        may_loop = turn.running and sitting.program().loops
        parts = ["part_from", "part_to", "part_whole"] if may_loop else []
        return ["stop_sound" if turn.running else "play", "hear", *parts]
    if turn.running:
        return ["stop_sound"]
    may_play = turn.begun < rules.plays_at_most or turn.finished < rules.plays_at_least
    return ["play"] if may_play else []


def _marks(sitting: "Sitting") -> list[str]:
    names = ["row_up", "row_down", "sort_rows"] if len(sitting.turn.values) > 1 else []
    names += ["less", "more", "less_by_ten", "more_by_ten"]
    return names if task_list.named(sitting.attribute.task).sheet == "gain" else [*names, "type"]


def is_heard(sitting: "Sitting") -> bool:
    """Whether enough was heard to answer: all of it, or, rated one by one, the sound that is rated now."""
    turn, program = sitting.turn, sitting.program()
    if not program.switching:
        return turn.finished >= sitting.plan.sitting.plays_at_least
    if len(turn.values) > 1:
        return turn.row + len(program.clips) - len(turn.values) in turn.heard
    return len(turn.heard) == len(program.clips)


def _is_complete(sitting: "Sitting") -> bool:
    turn = sitting.turn
    if not turn.values:
        return turn.chosen is not None
    heard = not sitting.program().switching or len(turn.heard) == len(sitting.program().clips)
    return heard and None not in turn.values
