"""The plain line mode: the same session for screen readers and simple terminals, line after line."""

import re
from collections.abc import Callable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from listening.session.arrival import Arrival
    from listening.session.sitting import Sitting
    from listening.session.view import Action, DialView, View
    from listening.session.words import Words

WORDS = {"stop_sound": "stop", "stay": "back", "reconsider": "back", "back": "back", "take_back": "change"}
"""Actions whose word is not that of their key."""
UNTYPED = ("erase", "take_number")  # a typed line is whole
NUMBER = re.compile(r"\d+([.,]\d+)?")
WAIT_S = 0.1


def run(
    session: "Arrival | Sitting",
    *,
    read: Callable[[float], str | None],
    write: Callable[[str], None],
    until: Callable[[], bool] = lambda: False,
) -> None:
    """Sit to the end, or until the listener leaves, the input ends or `until` is true.

    Parameters
    ----------
    read : waits so many seconds for a line; None when none came
        Raises EOFError at the end of the input.
    write : shows one line
    """
    said: dict[str, str] = {}
    while not (session.is_over or until()):
        said = _say(session, said, write)
        try:
            line = read(WAIT_S)
        except EOFError:
            return
        if line is not None:
            _take(session, line.strip(), write)
        session.tick()


def _take(session: "Arrival | Sitting", line: str, write: Callable[[str], None]) -> None:
    """Do what a line says, or say why it does nothing; not while something sounds."""
    if not _do(session, line):
        session.wrong_key(line.upper() or session.words.text("line_enter"))
    view = session.view()
    if view.hint and not view.is_playing:
        write(view.hint)


def _say(session: "Arrival | Sitting", said: dict[str, str], write: Callable[[str], None]) -> dict[str, str]:
    """Say what is new since the last time; a new heading says everything.

    Nothing is said while something sounds: a screen reader would talk over it.
    """
    view = session.view()
    if view.is_playing:
        return said
    parts = _parts(view, session.words)
    if parts["heading"] != said.get("heading"):
        said = {}
    for name, text in parts.items():
        if text and text != said.get(name):
            write(text)
    return parts


def _parts(view: "View", words: "Words") -> dict[str, str]:
    rows = {f"dial {dial.clip.letter}": _dial(dial) for dial in view.dials}
    return {
        "heading": f"\n== {view.heading}",
        "question": view.question,
        "body": "\n".join(view.body),
        "notice": view.notice,
        "progress": view.progress,
        "scale": ", ".join(view.numbered_scale()),
        **rows,
        "status": view.status,
        "actions": _menu(view.actions, words),
    }


def _dial(dial: "DialView") -> str:
    told = f"{dial.clip.name}: {dial.text}" if dial.clip.letter else dial.text
    return f"* {told}" if dial.selected and dial.clip.letter else told


def _menu(actions: "tuple[Action, ...]", words: "Words") -> str:
    enter = words.text("line_enter")
    rows = [f"  {_named(action, words) or enter}: {action.label}" for action in _listed(actions)]
    rows += [f"  {action.label}" for action in actions if action.name == "digit:0"]
    if any(action.name.startswith("type:") for action in actions):
        rows.append(f"  {words.text('line_code')}")
    return "\n".join(rows)


def _listed(actions: "tuple[Action, ...]") -> "list[Action]":
    hidden = ("mark_", "digit:", *UNTYPED)
    return [a for a in actions if a.label and not a.name.startswith(hidden)]


def _named(action: "Action", words: "Words") -> str:
    """What to type, for reading: one line stands for all the letters that switch."""
    return action.shown.lower() if action.name.startswith("hear:") else _typed(action, words)


def _typed(action: "Action", words: "Words") -> str:
    """One word or letter; nothing where Enter alone does it."""
    if action.key == "enter" or action.name == "hear_tone":
        return ""
    return words.table.get(f"word_{WORDS.get(action.name, action.key)}", action.key)


def _do(session: "Arrival | Sitting", typed: str) -> bool:
    line = typed.lower()
    offered = [a for a in session.actions() if a.name not in UNTYPED]
    if any(a.name.startswith("digit:") for a in offered) and NUMBER.fullmatch(line):
        return session.take_number(line.replace(",", "."))
    named = {_typed(a, session.words): a.name for a in offered if ":" not in a.name}
    letters = {a.key: a.name for a in offered if not a.name.startswith(("type:", "digit:"))}
    if any(session.act(names[line]) for names in (named, letters) if line in names):
        return True
    return session.take_line(typed)
