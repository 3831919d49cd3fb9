"""How far the stimuli of a set still differ in each metric."""

from dataclasses import dataclass

from listening.records.manifest import Manifest


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
