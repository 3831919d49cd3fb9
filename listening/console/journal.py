"""steps.log in a study folder: which step was done when, by which version, on what."""

import argparse
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path

from listening.errors import ListeningError
from listening.records.forms.environment import environment
from listening.records.study import Study

STEPS = ("new", "measure", "prepare", "deal", "amend", "simulate", "analyse", "report", "booths", "merge")


def write(step: str, args: argparse.Namespace) -> None:
    """Add a line to the log of the study that the step was for."""
    for folder in [getattr(args, "folder", None), *getattr(args, "paths", [])]:
        if isinstance(folder, Path):
            note(step, Study(folder))


def note(step: str, study: Study) -> None:
    """Add a line to the log of a study; a full disk does not undo the step."""
    if not study.protocol.is_file():
        return
    at = datetime.now(UTC).isoformat(timespec="seconds")
    line = f"{at} {step}: {environment()}"
    with suppress(OSError, ListeningError):
        if study.record.is_file():
            from listening.records.dealt import record

            record.append(study.record, at=at, kind="step", told={"line": line})
        with study.steps.open("a", encoding="utf-8") as log:
            log.write(f"{line}\n")
