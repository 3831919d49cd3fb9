"""One trial before it has codes: which sounds, in which order, and what it repeats."""

from dataclasses import dataclass

from listening.records.manifest import Manifest, Stimulus


@dataclass(frozen=True)
class Heard:
    """One clip to be heard: a stimulus, and a known gain beyond its own level."""

    stimulus: str
    gain_db: float = 0.0


@dataclass(frozen=True)
class Trial:
    """One trial: its clips in the order they sound."""

    attribute: str
    sounds: tuple[Heard, ...]
    group: str
    """What it repeats: equal for trials of the same conditions, presentation and attribute."""
    is_control: bool = False
    block: str = ""
    """Attribute and presentation; counts are compared within one block."""

    @property
    def first(self) -> Heard:
        """The clip that sounds first."""
        return self.sounds[0]

    @property
    def second(self) -> Heard:
        """The clip that sounds second."""
        return self.sounds[1]


def strikes(manifest: Manifest, presentation: str) -> dict[str, list[Stimulus]]:
    """The study stimuli of each condition under one presentation, in manifest order."""
    found: dict[str, list[Stimulus]] = {}
    for stimulus in manifest.stimuli:
        if stimulus.role == "study" and stimulus.presentation == presentation:
            found.setdefault(stimulus.condition, []).append(stimulus)
    return found


def words(name: str) -> tuple[int, ...]:
    """A name as numbers, to derive a random stream of its own from the seed."""
    return tuple(name.encode())
