"""What the session asks of a player, and a player without sound for simulated listeners and tests."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol


@dataclass(frozen=True)
class Program:
    """What is to sound: coded clips one after another."""

    clips: tuple[str, ...]
    gap_s: float = 0.0
    """Silence between two clips."""
    switching: bool = False
    """Aligned instead: one sounds at a time, and `switch` chooses which."""
    loops: bool = False
    start: int = 0
    """Which sounds first when switching."""
    gains_db: tuple[float, ...] = ()
    """Gain of each clip; empty: as they are."""
    lead_in_s: float = 0.0
    """Silence first, at least; a device that sleeps adds its own."""


@dataclass(frozen=True)
class Sounding:
    """How far a program is."""

    running: bool
    clip: int | None
    """Which clip of the program sounds now."""
    frames_asked: int
    """Of the whole program."""
    frames_played: int
    onset_s: float | None
    """When the first frame of the first clip left, on the session's clock."""
    trouble: str = ""
    """Why it did not play as asked; empty: it did."""
    heard_all: bool = False
    """Switching: whether every clip is known to have been heard."""
    share: float = 0.0
    """How much of the clip that sounds is over, 0 to 1."""


class Player(Protocol):
    """Plays one program at a time and returns at once."""

    def prepare(self, program: Program) -> None:
        """Have at hand what a program needs, so that it is heard at once; may do nothing."""

    def start(self, program: Program) -> None:
        """Begin; a program that runs already is stopped first."""

    def switch(self, sound: int) -> None:
        """Let another clip of a switching program sound."""

    def again(self) -> None:
        """Go back to the start of a loop."""

    def part(self, start: float, stop: float) -> None:
        """Keep a loop to what lies between two shares of it."""

    def gain(self, sound: int, gain_db: float) -> None:
        """Another gain for one clip of a switching program."""

    def stop(self) -> None:
        """Fall silent."""

    def sounding(self) -> Sounding:
        """How far the program is."""

    def level_db(self, clip: str) -> float:
        """LAFmax of a clip, dB re full scale."""

    def exposure(self) -> float:
        """A-weighted exposure of everything sent so far, full scale² s, the louder ear."""


class SilentPlayer:
    """Plays nothing and counts the frames: every program is over as soon as it is started."""

    def __init__(self, frames_of: Callable[[str], int], rate_hz: int, now_s: Callable[[], float]) -> None:
        self._frames_of = frames_of
        self._rate_hz = rate_hz
        self._now_s = now_s
        self._last = Sounding(False, None, 0, 0, None)
        self.frames_played = 0

    def prepare(self, program: Program) -> None:
        """Nothing sounds."""

    def start(self, program: Program) -> None:
        """Count the program's frames as played."""
        gaps = round(program.gap_s * self._rate_hz) * (len(program.clips) - 1)
        frames = sum(self._frames_of(clip) for clip in program.clips) + gaps
        self.frames_played += frames
        self._last = Sounding(False, None, frames, frames, self._now_s(), heard_all=True)

    def switch(self, sound: int) -> None:
        """Nothing sounds."""

    def again(self) -> None:
        """Nothing sounds."""

    def part(self, start: float, stop: float) -> None:
        """Nothing sounds."""

    def gain(self, sound: int, gain_db: float) -> None:
        """Nothing sounds."""

    def stop(self) -> None:
        """Nothing sounds."""

    def level_db(self, clip: str) -> float:
        """Nothing sounds: as if every clip were as loud as can be."""
        return 0.0

    def exposure(self) -> float:
        """None: nothing was sent."""
        return 0.0

    def sounding(self) -> Sounding:
        """The last program, played in full."""
        return self._last
