"""One trial before it has codes: which sounds, in which order, and what it repeats."""

from dataclasses import dataclass

from listening.records.sounds.manifest import Manifest, Stimulus


@dataclass(frozen=True)
class Heard:
    """One clip to be heard: a stimulus, and a known gain beyond its own level."""

    stimulus: str
    gain_db: float = 0.0
    copy: int = 0
    """Above 0: the same sound under another code, so that the plan does not tell which two are alike."""


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
    reference: Heard | None = None
    """A sound that is named as the reference."""
    follows: bool = False
    """Whether it asks about the sounds of the trial before it."""
    start_gain_db: float = 0.0
    """Adjustment: gain of the second sound when the trial begins."""
    part: int | None = None
    """The part of the blocks that it belongs to, heard in one session; None: any session."""
    session: int = 1
    """In which session it is heard."""

    @property
    def every(self) -> tuple[Heard, ...]:
        """All sounds, the reference included."""
        return self.sounds if self.reference is None else (self.reference, *self.sounds)

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
