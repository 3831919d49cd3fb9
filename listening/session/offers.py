"""Which actions each stage offers, and the key of each."""

from typing import TYPE_CHECKING

from listening.session.view import Action, Stage
from listening.session.words import Words

if TYPE_CHECKING:
    from listening.session.sitting import Sitting

KEYS = {
    "go_on": "enter",
    "agree": "y",
    "decline": "n",
    "play": "space",
    "stop_sound": "space",
    "level_right": "enter",
    "understood": "enter",
    "not_sure": "n",
    "confirm": "enter",
    "mark_up": "up",
    "mark_down": "down",
    "pause": "p",
    "leave": "escape",
    "stay": "escape",
    "try_again": "enter",
    "leave_now": "enter",
    "end": "enter",
}
LABELS = {"leave_now": "leave"}  # where the words differ from the action's name


def actions(sitting: "Sitting") -> tuple[Action, ...]:
    """What the listener may do now, answers included, in reading order."""
    names = _names(sitting)
    made = [_action(name, sitting.words) for name in names if name != "choose"]
    if "choose" in names:
        made += [Action(f"choose:{o.value}", o.key, o.shown, o.label) for o in sitting.options()]
        made += [_action("mark_up", sitting.words), _action("mark_down", sitting.words)]
    return tuple(made)


def _action(name: str, words: Words) -> Action:
    key = KEYS[name]
    shown = words.table.get(f"key_{key}", key.upper()) if name != "mark_up" else ""  # down names both
    return Action(name, key, shown, words.text(f"do_{LABELS.get(name, name)}"))


def _names(sitting: "Sitting") -> list[str]:
    match sitting.stage:
        case Stage.WELCOME:
            return ["go_on", "leave"]
        case Stage.CONSENT:
            return ["agree", "decline"]
        case Stage.LEVEL:
            return ["stop_sound" if sitting.turn.running else "play", *_after_hearing(sitting, "level_right")]
        case Stage.INTRODUCTION:
            return _introduction(sitting)
        case Stage.TRIAL:
            return _trial(sitting)
        case Stage.BREAK:
            return ["leave"] if sitting.rest_s() > 0 else ["go_on", "leave"]
        case Stage.PAUSE:
            return ["go_on", "leave"]
        case Stage.LEAVING:
            return ["leave_now", "stay"]
        case Stage.TROUBLE:
            return ["try_again", "leave"]
        case Stage.GOODBYE:
            return ["end"]
        case Stage.OVER:
            return []


def _after_hearing(sitting: "Sitting", name: str) -> list[str]:
    heard = sitting.turn.finished > 0 and not sitting.turn.running
    return [name, "leave"] if heard else ["leave"]


def _introduction(sitting: "Sitting") -> list[str]:
    if not sitting.program().clips:
        return ["understood", "not_sure", "leave"]
    if sitting.turn.running:
        return ["leave"]
    if not sitting.turn.finished:
        return ["play", "leave"]
    return ["play", "understood", "not_sure", "leave"]


def _trial(sitting: "Sitting") -> list[str]:
    turn, rules = sitting.turn, sitting.plan.sitting
    names = []
    may_play = turn.begun < rules.plays_at_most or turn.finished < rules.plays_at_least
    if may_play and not turn.running:
        names.append("play")
    if turn.finished >= rules.plays_at_least:
        names.append("choose")
        if turn.chosen is not None:
            names.append("confirm")
    if not turn.running:
        names.append("pause")
    return [*names, "leave"]
