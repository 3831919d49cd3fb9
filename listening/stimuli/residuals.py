"""How far the stimuli of a set still differ in each metric."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from listening.audio import wav
from listening.errors import StudyError
from listening.records.protocols.protocol import AS_RECORDED
from listening.records.sounds.manifest import Manifest
from listening.stimuli import match

DEPARTURE_DB = 5.0  # a playback level further than this from the one matched at is worth a warning


@dataclass(frozen=True)
class Spread:
    """One metric over the study stimuli of one presentation."""

    presentation: str
    metric: str
    lowest: float
    highest: float
    n: int

    @property
    def spread(self) -> float:
        """Largest minus smallest."""
        return self.highest - self.lowest


def spreads(manifest: Manifest) -> list[Spread]:
    """The spread of every metric that all study stimuli of a presentation have."""
    studied = [s for s in manifest.stimuli if s.role == "study"]
    found = []
    for presentation in dict.fromkeys(s.presentation for s in studied):
        rows = [s.after for s in studied if s.presentation == presentation]
        for metric in rows[0]:
            values = [v for row in rows if (v := row.get(metric)) is not None]
            if len(values) == len(rows):
                found.append(Spread(presentation, metric, min(values), max(values), len(values)))
    return found


@dataclass(frozen=True)
class Departure:
    """What playing a matched set at another level does to the match."""

    departure_db: float
    spread_phon: float
    """Largest minus smallest loudness level over a presentation, as matched."""
    spread_there_phon: float
    """The same when everything is played at the other level."""

    @property
    def warns(self) -> bool:
        """Whether the level is too far from the one matched at."""
        return abs(self.departure_db) > DEPARTURE_DB


def departure(
    folder: Path,
    manifest: Manifest,
    departure_db: float,
    *,
    on_progress: Callable[[int, int], None] | None = None,
) -> Departure:
    """The loudness levels of the matched stimuli, at the level they were matched at and away from it.

    Raises
    ------
    StudyError
        The set is not calibrated, or nothing in it is matched.
    """
    if manifest.pascal_per_full_scale is None:
        raise StudyError("the set is not calibrated: its loudness at another level cannot be known")
    matched = [s for s in manifest.stimuli if s.role == "study" and s.presentation != AS_RECORDED]
    if not matched:
        raise StudyError("nothing in the set is matched; add a presentation `matched` and prepare again")
    values: list[tuple[float, float]] = []
    for done, stimulus in enumerate(matched, start=1):
        scales = [manifest.pascal_per_full_scale * 10 ** (db / 20) for db in (0.0, departure_db)]
        here, there = (match.value(wav.load(folder / stimulus.file, scale), "nmax_sone") for scale in scales)
        values.append((here, there))
        if on_progress:
            on_progress(done, len(matched))
    spreads_phon = [max(column) - min(column) for column in zip(*values, strict=True)]
    return Departure(departure_db, *spreads_phon)
