"""The plain line mode: the same session for screen readers and simple terminals, line after line."""

import re
from collections.abc import Callable
from typing import TYPE_CHECKING

from listening.session.actions import Action

if TYPE_CHECKING:
    from listening.session.seating.arrival import Arrival
    from listening.session.showing.view import DialView, Offer, View
    from listening.session.showing.words import Words
    from listening.session.sitting import Sitting

WORDS = {
    Action.STOP_SOUND: "stop",
    Action.STAY: "back",
    Action.RECONSIDER: "back",
    Action.BACK: "back",
    Action.TAKE_BACK: "change",
}
"""Actions whose word is not that of their key."""
UNTYPED = {Action.ERASE, Action.TAKE_NUMBER}  # a typed line is whole
UNLISTED = {*UNTYPED, Action.MARK_UP, Action.MARK_DOWN, Action.DIGIT}
NUMBER = re.compile(r"[-+]?[.,]?\d.*")  # whatever is meant as one; the scale says which it has
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


def _menu(offers: "tuple[Offer, ...]", words: "Words") -> str:
    enter = words.text("line_enter")
    listed = [o for o in offers if o.label and o.action not in UNLISTED]
    rows = [f"  {_named(o, words) or enter}: {o.label}" for o in listed]
    rows += [f"  {o.label}" for o in offers if o.action is Action.DIGIT and o.label]
    if any(o.action is Action.SIGN for o in offers):
        rows.append(f"  {words.text('line_code')}")
    return "\n".join(rows)


def _named(offer: "Offer", words: "Words") -> str:
    """What to type, for reading: one line stands for all the letters that switch."""
    return offer.shown.lower() if offer.action is Action.HEAR else _typed(offer, words)


def _typed(offer: "Offer", words: "Words") -> str:
    """One word or letter; nothing where Enter alone does it."""
    if offer.key == "enter" or offer.action is Action.HEAR_TONE:
        return ""
    return words.table.get(f"word_{WORDS.get(offer.action, offer.key)}", offer.key)


def _do(session: "Arrival | Sitting", typed: str) -> bool:
    line = typed.lower()
    offered = [o for o in session.actions() if o.action not in UNTYPED]
    if any(o.action is Action.DIGIT for o in offered) and NUMBER.fullmatch(line):
        return session.take_number(line)
    named = {_typed(o, session.words): o.name for o in offered if not o.argument}
    letters = {o.key: o.name for o in offered if o.action not in (Action.SIGN, Action.DIGIT)}
    if any(session.act(names[line]) for names in (named, letters) if line in names):
        return True
    return session.take_line(typed)
