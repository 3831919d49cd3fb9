"""`listening pilot`: what a pilot's answers say for the main study."""

import argparse
import os
from pathlib import Path
from typing import Any

from listening.console import passphrase, progress, show
from listening.records.kinds import question_kinds
from listening.records.protocols.planned_power import Assumed
from listening.records.study import open_study


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's words."""
    parser.add_argument("folder", type=Path, help="study folder of the pilot, with answers")
    parser.add_argument(
        "--effect", default="share=0.75", metavar="WORDS", help="true effect to plan for, as in `size`"
    )
    parser.add_argument("--target", type=float, default=0.8, help="chance of `supported` (default 0.8)")
    parser.add_argument(
        "--studies", type=int, default=200, help="simulated studies for each size (default 200)"
    )
    parser.add_argument(
        "--jobs", type=int, default=os.cpu_count() or 1, help="processes (default: all cores)"
    )
    parser.add_argument(
        "--interim", action="store_true", help="look before the pilot's planned end; logged and reported"
    )
    passphrase.option(parser)
    show.json_option(parser)


def run(args: argparse.Namespace) -> int:
    """Print the components of each question, and the panel that each attribute's first question needs."""
    study = passphrase.of(open_study(args.folder), args)
    from listening.planning import pilot_reading  # slow to load: a slip in the folder is told before
    from listening.store import utc_now

    found, missing = pilot_reading.components(study, now=utc_now, interim=args.interim)
    lines = [
        "question                  listeners  own effects (upper 80 %)  strikes  order  a decibel (logit)"
    ]
    for c in found:
        decibel = "-" if c.logit_per_db is None else f"{c.logit_per_db:.2f}"
        lines.append(
            f"{c.question:<26}{c.listeners:9d}  {c.spread_listeners:11.2f} ({c.spread_listeners_upper:.2f})"
            f"{c.spread_stimuli:15.2f}{c.order:7.2f}  {decibel:>17}"
        )
    lines += [f"not to be had: {text}" for text in missing]
    panels = []
    for c in {c.attribute: c for c in reversed(found) if question_kinds.named(c.kind).has_direction}.values():
        line, data = _panel(args, c)
        lines.append(line)
        panels.append(data)
    lines.append(f"plan with these spreads: listening size STUDY --pilot {study.root}")
    data = {"components": [vars(c) for c in found], "missing": missing, "recommended": panels}
    show.result(args, lines, data)
    return 0


def _panel(args: argparse.Namespace, c: Any) -> tuple[str, dict[str, Any]]:
    """The recommended panel for one question of the pilot's own protocol."""
    from listening.planning import effect, recommend, stand_in
    from listening.records.protocols import protocol
    from listening.records.sounds import recordings_table

    study = passphrase.of(open_study(args.folder), args)
    chosen = protocol.load(study.protocol)
    question = next(q for q in chosen.questions if q.id == c.question)
    assumed = Assumed(
        spread_listeners=c.spread_listeners_upper,
        spread_stimuli=c.spread_stimuli,
        order=-c.order,
        source="pilot, upper 80 % limit",
    )
    wanted = effect.of_text(args.effect, assumed, logit_per_db=c.logit_per_db)
    with progress.bar(f"panel for {c.attribute}") as on_progress:
        found = recommend.listeners(
            chosen,
            stand_in.manifest(chosen, recordings_table.load(chosen, study.protocol)),
            question,
            wanted,
            assumed=assumed,
            target=args.target,
            studies=args.studies,
            where=args.jobs,
            on_progress=on_progress,
        )
    size = "more than 200" if found.listeners is None else str(found.listeners)
    line = (
        f"{c.attribute}: {size} listeners for an effect {wanted.said}, chance {args.target:g} "
        f"(tried {', '.join(f'{t.listeners}: {t.supported}/{t.studies}' for t in found.tried)})"
    )
    return line, {"attribute": c.attribute, "question": c.question, "listeners": found.listeners}
