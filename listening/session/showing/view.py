"""What a screen may show at one moment: words, letters and keys, no more."""

from dataclasses import dataclass
from enum import Enum

from listening.session.actions import Action


class Stage(Enum):
    """Where the listener is."""

    ARRIVAL = "arrival"
    WELCOME = "welcome"
    CONSENT = "consent"
    DECLINING = "declining"
    FAREWELL = "farewell"
    QUESTIONNAIRE = "questionnaire"
    LEVEL = "level"
    HEARING = "hearing"
    INTRODUCTION = "introduction"
    TRAINING = "training"
    TRIAL = "trial"
    FEEDBACK = "feedback"
    COMMENT = "comment"
    STUCK = "stuck"
    BREAK = "break"
    PAUSE = "pause"
    LEAVING = "leaving"
    TROUBLE = "trouble"
    ENOUGH = "enough"
    SESSION_OVER = "session_over"
    GOODBYE = "goodbye"
    OVER = "over"


@dataclass(frozen=True)
class Offer:
    """One thing the listener may do now."""

    action: Action
    key: str
    """The key that does it, as a program calls it: `space`."""
    shown: str
    """The key, as the listener calls it."""
    label: str
    """What it does, for reading."""
    argument: str = ""
    """Which sound, answer, sign or digit."""

    @property
    def name(self) -> str:
        """What to hand to `Sitting.act`."""
        return f"{self.action.word}:{self.argument}" if self.argument else self.action.word


@dataclass(frozen=True)
class ClipView:
    """One sound of the trial."""

    letter: str
    sounding: bool
    heard: bool
    state: str
    """`playing`, `heard` or `not heard yet`, in the listener's language."""
    share: float = 0.0
    """How much of it is over while it sounds, 0 to 1, in steps that a screen can draw."""
    name: str = ""
    """`Sound A`, in the listener's language."""


@dataclass(frozen=True)
class Choice:
    """One possible answer."""

    label: str
    shown: str
    """The key that marks it, as the listener calls it."""
    chosen: bool
    allowed: bool
    """Whether it may be chosen now."""
    name: str = ""
    """What to hand to `Sitting.act`."""


@dataclass(frozen=True)
class DialView:
    """One scale and its mark; the sound on the same line."""

    clip: ClipView
    selected: bool
    """Whether the scale keys move this one."""
    share: float | None
    """Where the mark stands, 0 to 1; None: not set yet, or not to be seen."""
    text: str
    """The mark in words: a number, or what is missing."""
    parts: int = 10
    """Parts of the scale between ticks."""


@dataclass(frozen=True)
class View:
    """Everything on the screen."""

    stage: Stage
    heading: str
    body: tuple[str, ...] = ()
    question: str = ""
    is_playing: bool = False
    """Whether a programme runs, silences between its sounds included."""
    clips: tuple[ClipView, ...] = ()
    choices: tuple[Choice, ...] = ()
    dials: tuple[DialView, ...] = ()
    scale: tuple[str, ...] = ()
    """Labels of the scale, from least to most, spread evenly."""
    scale_ends: tuple[float, float] = (0.0, 100.0)
    """The numbers at its ends."""
    has_bands: bool = False
    """Whether each label stands over a band of the scale, not over a place on it."""
    status: str = ""
    notice: str = ""
    hint: str = ""
    """That a key did nothing, and which ones work."""
    progress: str = ""
    share_done: float = 0.0
    actions: tuple[Offer, ...] = ()

    def numbered_scale(self) -> list[str]:
        """Each label of the scale with its number, or with those of its band."""
        low, high = self.scale_ends
        n = len(self.scale)
        if self.has_bands:
            edges = [f"{low + (high - low) * i / n:g}" for i in range(n + 1)]
            return [f"{edges[i]}-{edges[i + 1]} = {label}" for i, label in enumerate(self.scale)]
        places = [round(low + (high - low) * i / max(n - 1, 1)) for i in range(n)]
        return [f"{place} = {label}" for place, label in zip(places, self.scale, strict=True)]
