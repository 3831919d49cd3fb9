"""The two sounds of each question, to listen to side by side; findings exist only once the key is opened."""

import base64
from dataclasses import dataclass
from pathlib import Path

from listening.records.found.findings import Findings
from listening.records.found.findings_question import QuestionFinding
from listening.records.found.findings_study import StimulusRow

LIMIT_BYTES = 1_600_000  # of all files; a third more once written as text, and the page stays below 3 MB


@dataclass(frozen=True)
class Sound:
    """One stimulus of a question."""

    label: str
    detail: str
    """Which strike, and how it was played."""
    data: str
    """FLAC file, base64; empty where the same sound stands on an earlier card."""
    stands_at: str
    """The anchor of that card; empty where the sound stands here."""


def of_questions(found: Findings, folder: Path | None) -> dict[str, tuple[Sound, ...]]:
    """For each question the first strike of either condition, as it was played in the test.

    Each file is written into the page once, while all of them stay below the limit; a question of whose
    sounds one would not fit has none.
    """
    if folder is None:
        return {}
    made: dict[str, tuple[Sound, ...]] = {}
    stands_at: dict[str, str] = {}
    left = LIMIT_BYTES
    for i, q in enumerate(found.questions, 1):
        rows = _rows(q, found, folder)
        new = [row for row in rows if row.file not in stands_at]
        size = sum((folder / row.file).stat().st_size for row in new)
        if len(rows) < 2 or size > left:
            continue
        left -= size
        made[q.id] = tuple(_sound(row, q, folder, stands_at.get(row.file, "")) for row in rows)
        stands_at |= {row.file: f"q-{i}" for row in new}
    return made


def _rows(q: QuestionFinding, found: Findings, folder: Path) -> list[StimulusRow]:
    """The first stimulus of each of the two conditions that lies in the folder."""
    first: dict[str, StimulusRow] = {}
    for row in found.matching.stimuli:
        if row.presentation == q.presentation and (folder / row.file).is_file():
            first.setdefault(row.condition, row)
    return [first[one] for one in (q.more, q.than) if one in first]


def _sound(row: StimulusRow, q: QuestionFinding, folder: Path, stands_at: str) -> Sound:
    label = q.more_label if row.condition == q.more else q.than_label
    data = "" if stands_at else base64.b64encode((folder / row.file).read_bytes()).decode()
    return Sound(label, f"strike {row.strike}, {row.presentation}", data, stands_at)
