"""The recordings table: one recording a row, its file, factor levels, strike and calibration."""

import csv
from dataclasses import dataclass
from io import StringIO
from pathlib import Path

from listening.errors import RecordError
from listening.records.form import read_text
from listening.records.problem import Problem, listing
from listening.records.protocol import Protocol

REQUIRED = ("recording", "file", "strike")
CALIBRATION = "pascal_per_full_scale"


@dataclass(frozen=True)
class Recording:
    """One row of the table."""

    recording: str
    file: Path
    factors: tuple[str, ...]
    strike: str
    unit: str
    pascal_per_full_scale: float | None

    @property
    def condition(self) -> str:
        """The factor levels joined by `/`."""
        return "/".join(self.factors)


def problems(protocol: Protocol, protocol_path: Path) -> tuple[list[Recording], list[Problem]]:
    """The recordings that a protocol uses, and every problem in the table (not in the sounds)."""
    folder = (protocol_path.parent / protocol.recordings.folder).resolve()
    path = folder / protocol.recordings.table
    reader = csv.DictReader(StringIO(read_text(path)))
    wanted = [*REQUIRED, *protocol.recordings.factors]
    missing = [name for name in wanted if name not in (reader.fieldnames or [])]
    if missing:
        return [], [
            Problem(str(path), name, f"columns {reader.fieldnames}", f"a column `{name}`", 1)
            for name in missing
        ]
    rows = [_row(row, protocol, path, reader.line_num) for row in reader]
    recordings = [row for row in rows if isinstance(row, Recording)]
    found = [row for row in rows if isinstance(row, Problem)] + _duplicates(recordings, path)
    kept = [r for r in recordings if _is_used(r, protocol)]
    if not kept and not found:
        found.append(Problem(str(path), "recordings.use", "no row left", "at least two conditions"))
    return kept, found


def load(protocol: Protocol, protocol_path: Path) -> list[Recording]:
    """The recordings that a protocol uses, in table order.

    Raises
    ------
    RecordError
        The table has problems; all are listed.
    """
    recordings, found = problems(protocol, protocol_path)
    if found:
        raise RecordError(listing(found))
    return recordings


def conditions(recordings: list[Recording]) -> list[str]:
    """The conditions in order of first appearance."""
    return list(dict.fromkeys(r.condition for r in recordings))


def _row(row: dict[str, str], protocol: Protocol, path: Path, line: int) -> Recording | Problem:
    empty = [name for name in (*REQUIRED, *protocol.recordings.factors) if not (row.get(name) or "").strip()]
    if empty or None in row:  # csv puts cells beyond the header under None
        return Problem(
            str(path), empty[0] if empty else "row", "nothing" if empty else "too many cells", "a value", line
        )
    scale = (row.get(CALIBRATION) or "").strip()
    try:
        pascal = float(scale) if scale else None
    except ValueError:
        pascal = -1.0
    if pascal is not None and not 0 < pascal < float("inf"):
        return Problem(str(path), CALIBRATION, repr(scale), "a positive number of pascal, or nothing", line)
    return Recording(
        recording=row["recording"].strip(),
        file=path.parent / row["file"].strip(),
        factors=tuple(row[name].strip() for name in protocol.recordings.factors),
        strike=row["strike"].strip(),
        unit=(row.get("unit") or "1").strip(),
        pascal_per_full_scale=pascal,
    )


def _duplicates(recordings: list[Recording], path: Path) -> list[Problem]:
    seen: set[str] = set()
    found = []
    for recording in recordings:
        if recording.recording in seen:
            found.append(Problem(str(path), "recording", f"`{recording.recording}` twice", "each id once"))
        seen.add(recording.recording)
    return found


def _is_used(recording: Recording, protocol: Protocol) -> bool:
    levels = dict(zip(protocol.recordings.factors, recording.factors, strict=True))
    return all(levels[factor] in kept for factor, kept in protocol.recordings.use.items() if factor in levels)
