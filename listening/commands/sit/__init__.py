"""`listening sit`: a blind sitting in the terminal; needs the station folder only."""

import argparse
import json
import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from listening.errors import ListeningError, MissingFile
from listening.records.study import KEY_BESIDE, Study

if TYPE_CHECKING:
    from listening.audio.probe import Look
    from listening.session.seating.arrival import Arrival
    from listening.session.showing.view import View
    from listening.session.showing.words import Words


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's words."""
    parser.add_argument("folder", type=Path, help="study folder; only its station folder is needed")
    parser.add_argument("--listener", metavar="CODE", help="the listener's code, to begin or to go on")
    parser.add_argument("--slot", type=int, metavar="N", help="a certain slot of the plan")
    parser.add_argument(
        "--plain", action="store_true", help="line after line, for screen readers and simple terminals"
    )
    parser.add_argument(
        "--device", metavar="D", help="sound device, by number or name (default: the system's)"
    )


def run(args: argparse.Namespace) -> int:
    """Sit; the terminal is left as it was found, whatever happens."""
    from listening.audio import probe
    from listening.commands.sit import sit_ending, sit_plainly
    from listening.tui import first_paint

    study = Study(args.folder)
    is_plain = args.plain or os.environ.get("TERM") == "dumb"
    first, spoken = first_view(study, lines=is_plain)
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise ListeningError("a sitting needs a terminal: start it in one, not in a pipe")
    if study.key_lies_beside:  # said before the screen is drawn, and there again when it closes
        print(f"{KEY_BESIDE}: {study.sealed}; seat listeners with: listening station", file=sys.stderr)
    look = probe.begun()  # goes on while the screen is loaded
    if is_plain:
        return sit_plainly.run(study, first, opener(study, args, first, spoken, look), spoken)
    with sit_ending.messages_to(study.log), first_paint.shown(first, sit_ending.terminal()):
        with sit_ending.signals_wait():
            from listening.tui.app import StationApp

            app = StationApp(first, opener(study, args, first, spoken, look), spoken)
            sit_ending.on_signals(app)
        app.run()
    return sit_ending.say(app, study, spoken)


def first_view(study: Study, *, lines: bool = False) -> "tuple[View, Words]":
    """The welcome, read straight from the plan, and its words: before anything slow is imported."""
    from listening.session.actions import Action
    from listening.session.showing.offering import offer
    from listening.session.showing.view import Stage, View
    from listening.session.showing.words import words

    try:
        rules = json.loads(study.plan.read_text(encoding="utf-8"))["sitting"]
        told = words(rules.get("language", "en"))
        table = told.in_lines() if lines else told
        welcome = str(rules["welcome"])
    except FileNotFoundError as error:
        raise MissingFile(
            f"{study.plan}: no such file; a sitting needs a dealt study (listening deal {study.root})"
        ) from error
    except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
        raise ListeningError(
            f"{study.plan}: cannot be read as a plan; copy the station folder again, or deal the study again"
        ) from error
    body = (welcome, table.text("keyboard_only"))
    heading, status = table.text("welcome_heading"), table.text("getting_ready")
    actions = tuple(offer(action, table) for action in (Action.GO_ON, Action.LEAVE))
    return View(Stage.WELCOME, heading, body=body, status=status, actions=actions), table


def opener(
    study: Study, args: argparse.Namespace, first: "View", spoken: "Words", look: "Look"
) -> "Callable[[], Arrival]":
    """What opens plan, clips, store and speaker, once the first screen is drawn."""

    def opened() -> "Arrival":
        from listening.session.seating import opening
        from listening.session.seating.station import Seat

        seat = Seat(args.listener and args.listener.upper(), args.slot)
        return opening.open_aloud(study, seat, first, spoken, device=args.device, look=look)

    return opened
