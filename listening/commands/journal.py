"""steps.log in a study folder: which step was done when, by which version, on what."""

import argparse
import platform
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path

from listening import __version__
from listening.records.study import Study

STEPS = ("new", "measure", "prepare", "deal", "simulate", "analyse", "report", "booths", "merge")
LIBRARIES = ("numpy", "scipy", "pandas", "numba", "soundfile", "soxr", "pydantic", "sqlalchemy")
NAME = "steps.log"


def write(step: str, args: argparse.Namespace) -> None:
    """Add a line to the log of the study that the step was for; a full disk does not undo the step."""
    folder = getattr(args, "folder", None)
    if not isinstance(folder, Path) or not Study(folder).protocol.is_file():
        return
    with suppress(OSError), (folder / NAME).open("a", encoding="utf-8") as log:
        log.write(f"{datetime.now(UTC).isoformat(timespec='seconds')} {step}: {environment()}\n")


def environment() -> str:
    """The program's version, Python, the system, and the libraries that compute."""
    system = f"Python {platform.python_version()}, {platform.system()} {platform.machine()}"
    libraries = ", ".join(f"{name} {_version(name)}" for name in LIBRARIES)
    return f"listening {__version__}, {system}, {libraries}"


def _version(name: str) -> str:
    from importlib import metadata  # slow to load, and a sitting's first screen waits for this file

    with suppress(metadata.PackageNotFoundError):
        return metadata.version(name)
    return "missing"
