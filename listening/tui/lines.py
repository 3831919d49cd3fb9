"""The plain line mode: the same session for screen readers and simple terminals, line after line."""

from collections.abc import Callable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from listening.session.arrival import Arrival
    from listening.session.sitting import Sitting
    from listening.session.view import Action, View
    from listening.session.words import Words

TYPED = {"space": ".", "enter": "", "escape": "x", "left": "-", "right": "+", "up": "<", "down": ">"}
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
        if line is not None and not _do(session, line.strip().lower()):
            session.wrong_key(line.strip().upper() or session.words.text("line_enter"))
            write(session.view().hint)
        session.tick()


def _say(session: "Arrival | Sitting", said: dict[str, str], write: Callable[[str], None]) -> dict[str, str]:
    """Say what is new since the last time; a new heading says everything."""
    parts = _parts(session.view(), session.words)
    if parts["heading"] != said.get("heading"):
        said = {}
    for name, text in parts.items():
        if text and text != said.get(name):
            write(text)
    return parts


def _parts(view: "View", words: "Words") -> dict[str, str]:
    is_busy = any(clip.sounding for clip in view.clips) and not view.dials
    return {
        "heading": f"\n== {view.heading}",
        "question": view.question,
        "body": "\n".join(view.body),
        "notice": view.notice,
        "progress": view.progress,
        "scale": ", ".join(view.scale),
        "dials": "\n".join(
            f"{'*' if dial.selected else ' '} {dial.clip.letter} {dial.text}".rstrip() for dial in view.dials
        ),
        "status": view.status,
        "actions": "" if is_busy else _menu(view.actions, words),
    }


def _menu(actions: "tuple[Action, ...]", words: "Words") -> str:
    rows = [f"  {_named(action) or words.text('line_enter')}: {action.label}" for action in _listed(actions)]
    if any(action.name.startswith("put:") for action in actions):
        rows.append(f"  {words.text('line_number')}")
    if any(action.name.startswith("type:") for action in actions):
        rows.append(f"  {words.text('line_code')}")
    return "\n".join(rows)


def _listed(actions: "tuple[Action, ...]") -> "list[Action]":
    return [a for a in actions if a.label and not a.name.startswith("mark_")]


def _named(action: "Action") -> str:
    """What to type, for reading: one line stands for all the letters that switch."""
    return action.shown.lower() if action.name.startswith("hear:") else _typed(action)


def _typed(action: "Action") -> str:
    return TYPED.get(action.key, action.key)


def _do(session: "Arrival | Sitting", line: str) -> bool:
    offered = session.actions()
    if any(a.name.startswith("put:") for a in offered) and line.isdigit():
        return session.act(f"put:{line}")
    if any(_typed(a) == line and session.act(a.name) for a in offered if not a.name.startswith("type:")):
        return True
    return session.take_line(line)
