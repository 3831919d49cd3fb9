"""A study with everything that happens to one: the steps of a scenario file, each by its own command."""

import argparse
import contextlib
import io
import shlex
import shutil
import time
from dataclasses import dataclass
from pathlib import Path

from listening import cli
from listening.console import show
from listening.errors import RecordError, StudyError
from listening.records.forms.form import write_text
from listening.records.forms.text import loads_toml, read_text
from listening.records.found.findings import Findings
from listening.records.study import Study

NAME = "scenario.toml"
STUDY, NORTH = "STUDY", "NORTH"
KEYS = {"told", "run", "copy", "change", "append"}


@dataclass(frozen=True)
class Step:
    """One thing that happens."""

    told: str
    commands: tuple[str, ...] = ()
    copies: bool = False
    """Whether the second laboratory gets a copy of the study first."""
    changes: tuple[tuple[str, str], ...] = ()
    """What of the protocol becomes what."""
    append: str = ""
    """What is put behind the protocol."""


@dataclass(frozen=True)
class Scenario:
    """A protocol and what happens to it."""

    protocol: Path
    steps: tuple[Step, ...]


def load(folder: Path) -> Scenario:
    """The scenario of a folder.

    Raises
    ------
    RecordError
        It is no such file, with the step that is wrong.
    """
    path = folder / NAME
    raw = loads_toml(read_text(path), path)
    steps = raw.get("steps")
    if not isinstance(raw.get("protocol"), str) or not isinstance(steps, list):
        raise RecordError(f"{path}: wanted `protocol`, the name of a file, and [[steps]]")
    made = tuple(_step(path, number, one) for number, one in enumerate(steps, start=1))
    return Scenario(folder / raw["protocol"], made)


def _step(path: Path, number: int, raw: object) -> Step:
    if not isinstance(raw, dict) or not isinstance(raw.get("told"), str):
        raise RecordError(f"{path}: step {number}: wanted `told`, what happens in words")
    if strange := set(raw) - KEYS:
        known = ", ".join(sorted(KEYS))
        raise RecordError(f"{path}: step {number}: found `{sorted(strange)[0]}`, wanted some of {known}")
    change = raw.get("change", [])
    if not isinstance(change, list) or len(change) % 2 or not all(isinstance(one, str) for one in change):
        raise RecordError(f"{path}: step {number}: change: wanted texts in pairs, what becomes what")
    return Step(
        raw["told"],
        commands=tuple(map(str, raw.get("run", []))),
        copies=raw.get("copy") == NORTH,
        changes=tuple(zip(change[::2], change[1::2], strict=True)),
        append=read_text(path.parent / raw["append"]) if raw.get("append") else "",
    )


def run(args: argparse.Namespace, scenario: Scenario, study: Study) -> int:
    """Every step in order; the exit code of the first command that fails."""
    started_s = time.monotonic()
    north = study.root.with_name(f"{study.root.name}_north")
    for number, step in enumerate(scenario.steps, start=1):
        if not args.json:
            print(f"\n=== {number}. {step.told}", flush=True)
        _edit(study, step)
        if step.copies:
            shutil.rmtree(north, ignore_errors=True)
            shutil.copytree(study.root, north)
        for command in step.commands:
            if code := _run(args, command, study, north):
                return code
    found = Findings.load(study.findings)
    verdicts = {question.id: question.word for question in found.questions}
    lines = [
        f"\nall steps in {time.monotonic() - started_s:.0f} s; the panel was simulated: nobody listened",
        *(f"  {word:<13}{name}" for name, word in verdicts.items()),
        f"the page:  {study.page}",
    ]
    show.result(args, lines, {"verdicts": verdicts, "simulated": True, "page": str(study.page)})
    return 0


def _edit(study: Study, step: Step) -> None:
    """What the step changes in the protocol."""
    text = read_text(study.protocol)
    for was, now in step.changes:
        if was not in text:
            raise StudyError(f"{study.protocol}: holds no `{was}`, which this step changes")
        text = text.replace(was, now)
    if step.changes or step.append:
        write_text(study.protocol, text + step.append)


def _run(args: argparse.Namespace, command: str, study: Study, north: Path) -> int:
    places = {STUDY: str(study.root), NORTH: str(north)}
    words = [places.get(word, word) for word in shlex.split(command)]
    if args.json:
        with contextlib.redirect_stdout(io.StringIO()):
            return cli.main(words)
    print(f"\n== listening {' '.join(words)}", flush=True)
    return cli.main(words)
