"""Every problem of a study before anything is made of it: protocol, table, sounds, and how they fit."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from listening.errors import ListeningError, RecordError
from listening.intake import names, recording_faults
from listening.records.forms import toml_lines
from listening.records.forms.problem import Problem
from listening.records.forms.text import read_text, read_toml
from listening.records.protocols import protocol
from listening.records.protocols.playback import Playback
from listening.records.protocols.protocol import Protocol
from listening.records.protocols.protocol_parts import Recordings, Trimming
from listening.records.sounds import recordings_table


def problems(protocol_path: Path, *, on_progress: Callable[[int, int], None] | None = None) -> list[Problem]:
    """Everything wrong or doubtful, in the order protocol, table, sounds; empty when all is well.

    A protocol that cannot be read whole still has its table and sounds checked when its [recordings] can be.

    Raises
    ------
    MissingFile, RecordError
        The protocol is not there, or empty.
    """
    chosen, found = protocol.problems(protocol_path)
    readable = chosen or _salvaged(protocol_path)
    if readable is None:
        return found
    try:
        recordings, in_table = recordings_table.problems(readable, protocol_path)
    except ListeningError as error:
        table = str(Path(readable.recordings.folder) / readable.recordings.table)
        return [*found, Problem(str(protocol_path), "recordings", str(error), f"the table {table}")]
    if chosen is not None:
        lines = toml_lines.lines(read_text(protocol_path))
        found += names.problems(chosen, recordings, path=protocol_path, lines=lines)
    found += in_table
    return found + recording_faults.problems(readable, recordings, protocol_path, on_progress=on_progress)


def _salvaged(path: Path) -> Protocol | None:
    """As much of a faulty protocol as the table and the sounds need."""
    try:
        _, raw = read_toml(path)
        recordings = Recordings.model_validate(raw["recordings"])
    except (RecordError, KeyError, ValidationError):
        return None
    try:
        trimming = Trimming.model_validate(raw.get("trimming", {}))
    except ValidationError:
        trimming = Trimming()
    unchecked: Any = Protocol.model_construct
    part: Protocol = unchecked(
        recordings=recordings, trimming=trimming, playback=Playback(), attributes=[], presentations=[]
    )
    return part
