"""The recordings table: one recording a row, its file, values of its factors, strike and calibration."""

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from listening.errors import RecordError
from listening.records.forms import rows as rows_of
from listening.records.forms.problem import Problem, listing
from listening.records.forms.rows import Rows
from listening.records.forms.text import from_root
from listening.records.protocols import earlier_words
from listening.records.protocols.protocol import Protocol

REQUIRED = ("recording", "file", "strike")
MOST_RECORDINGS = 5_000  # a table with more is another table
CALIBRATION = "pascal_per_full_scale"
CHANNEL, MOST_CHANNELS = "channel", 64
SPECIMEN = "specimen"
AVERAGE = "average"  # over all channels, such as microphone positions


@dataclass(frozen=True)
class Recording:
    """One row of the table."""

    recording: str
    file: Path
    factors: tuple[str, ...]
    strike: str
    specimen: str
    pascal_per_full_scale: float | None
    channel: int | Literal["average"] | None = None
    """Which channel is measured, from 1, or their average; None: the loudest."""

    @property
    def condition(self) -> str:
        """The values of its factors joined by `/`."""
        return "/".join(self.factors)


def problems(protocol: Protocol, protocol_path: Path) -> tuple[list[Recording], list[Problem]]:
    """The recordings that a protocol uses, and every problem in the table (not in the sounds)."""
    folder = from_root(protocol_path.parent / protocol.recordings.folder)
    path = folder / protocol.recordings.table
    table = _renewed(rows_of.read(path), protocol)
    wanted = [*REQUIRED, *protocol.recordings.factors]
    missing = [name for name in wanted if name not in table.heading]
    if missing:
        found_ones = ", ".join(table.heading[:12]) + (", ..." if len(table.heading) > 12 else "")
        return [], [Problem(str(path), n, f"columns {found_ones}", f"a column `{n}`", 1) for n in missing]
    if len(table.cells) > MOST_RECORDINGS:
        found_rows, wanted_rows = f"{len(table.cells)} rows", f"at most {MOST_RECORDINGS}"
        return [], [Problem(str(path), "the whole table", found_rows, wanted_rows)]
    rows = [_row(table, cells, protocol, line) for cells, line in zip(table.cells, table.lines, strict=True)]
    recordings = [row for row in rows if isinstance(row, Recording)]
    found = [row for row in rows if isinstance(row, Problem)] + _duplicates(recordings, path)
    kept = [r for r in recordings if _is_used(r, protocol)]
    if not kept and not found:
        found.append(Problem(str(path), "recordings.use", "no row left", "at least two conditions"))
    return kept, found


def _renewed(table: Rows, protocol: Protocol) -> Rows:
    """The table with today's headings; an earlier one is told, unless it is a factor of the protocol."""
    heading = []
    for name in table.heading:
        now = earlier_words.COLUMNS.get(name, name)
        kept = now == name or now in table.heading or name in protocol.recordings.factors
        if not kept:
            earlier_words.tell(table.path, name, now)
        heading.append(name if kept else now)
    return replace(table, heading=tuple(heading))


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


def calibrated(recordings: list[Recording], pascal_per_full_scale: float | None) -> list[Recording]:
    """The same, where a row has no calibration with this one."""
    if pascal_per_full_scale is None:
        return recordings
    return [
        r if r.pascal_per_full_scale is not None else replace(r, pascal_per_full_scale=pascal_per_full_scale)
        for r in recordings
    ]


def conditions(recordings: list[Recording]) -> list[str]:
    """The conditions in order of first appearance."""
    return list(dict.fromkeys(r.condition for r in recordings))


def _row(table: Rows, cells: tuple[str, ...], protocol: Protocol, line: int) -> Recording | Problem:
    path, row = table.path, dict(zip(table.heading, cells, strict=False))
    empty = [name for name in (*REQUIRED, *protocol.recordings.factors) if not row.get(name)]
    if empty or len(cells) > len(table.heading):
        return Problem(
            str(path), empty[0] if empty else "row", "nothing" if empty else "too many cells", "a value", line
        )
    scale = row.get(CALIBRATION, "")
    try:
        pascal = rows_of.number(scale, table.separator) if scale else None
    except ValueError:
        pascal = -1.0
    if pascal is not None and not 0 < pascal < float("inf"):
        return Problem(str(path), CALIBRATION, repr(scale), "a positive number of pascal, or nothing", line)
    channel = row.get(CHANNEL, "")
    if not _is_channel(channel):
        wanted = f"a number from 1 to {MOST_CHANNELS}, `{AVERAGE}`, or nothing"
        return Problem(str(path), CHANNEL, repr(channel), wanted, line)
    return Recording(
        recording=row["recording"],
        file=path.parent / row["file"],
        factors=tuple(row[name] for name in protocol.recordings.factors),
        strike=row["strike"],
        specimen=row.get(SPECIMEN) or "1",
        pascal_per_full_scale=pascal,
        channel="average" if channel == AVERAGE else int(channel) if channel else None,
    )


def _is_channel(cell: str) -> bool:
    if cell in ("", AVERAGE):
        return True
    return cell.isascii() and cell.isdigit() and 1 <= int(cell[:6]) <= MOST_CHANNELS


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
