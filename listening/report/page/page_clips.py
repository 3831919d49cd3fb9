"""Stimuli to play on the page: the findings exist only once the key is opened, so nobody is unblinded."""

import base64
from dataclasses import dataclass
from pathlib import Path

from listening.records.findings import Findings, StimulusRow

LIMIT_BYTES = 3_000_000  # a third more once written as text


@dataclass(frozen=True)
class Clip:
    """One stimulus to play on the page."""

    label: str
    presentation: str
    data: str
    """FLAC file, base64."""


def of_study(found: Findings, folder: Path | None) -> list[Clip]:
    """The first stroke of each condition in each presentation, while all of them stay below the limit."""
    if folder is None:
        return []
    labels = {c.condition: c.label for c in found.conditions}
    first: dict[tuple[str, str], StimulusRow] = {}
    for s in found.matching.stimuli:
        if (folder / s.file).is_file():
            first.setdefault((s.condition, s.presentation), s)
    files = {place: (folder / s.file).read_bytes() for place, s in first.items()}
    if sum(map(len, files.values())) > LIMIT_BYTES:
        files = {place: data for place, data in files.items() if place[1] != "as recorded"}
    if sum(map(len, files.values())) > LIMIT_BYTES:
        return []
    return [
        Clip(labels.get(condition, condition), presentation, base64.b64encode(data).decode())
        for (condition, presentation), data in files.items()
    ]
