"""What goes to the device, block by block: clips one after another, or aligned clips with free switching."""

from collections.abc import Sequence
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from listening.errors import SoundError

Samples = NDArray[np.float32]
FADE_S = 0.015  # raised cosine; a hard switch splatters over the spectrum


class Mixer(Protocol):
    """Renders a programme; knows nothing of devices."""

    n_frames: int
    """Of the whole programme; for a loop, of one round."""
    onset_frame: int
    """The first frame of the first clip."""

    def render(self, n: int) -> Samples:
        """The next n frames, or fewer at the end; (n, channels)."""

    def clip_at(self, frame: int) -> int | None:
        """Which clip sounds at a frame that was rendered before; None between clips."""

    def share_at(self, frame: int) -> float:
        """How much of that clip is over at a frame, 0 to 1; 0 between clips."""


def stereo(clip: Samples) -> Samples:
    """(frames, 2): one channel goes to both ears, two stay.

    Raises
    ------
    SoundError
        More than two channels.
    """
    if clip.shape[1] > 2:
        raise SoundError(
            f"a clip has {clip.shape[1]} channels, headphones have 2; prepare it in 1 or 2 channels"
        )
    return np.ascontiguousarray(np.broadcast_to(clip, (len(clip), 2)), dtype=np.float32)


class InTurn:
    """Clips one after another with a fixed gap, after a lead-in that wakes the device."""

    def __init__(self, clips: Sequence[Samples], *, gap_frames: int, lead_in_frames: int) -> None:
        pieces: list[Samples] = [_silence(lead_in_frames)]
        self._spans: list[tuple[int, int]] = []
        at = lead_in_frames
        for number, clip in enumerate(clips):
            if number:
                pieces.append(_silence(gap_frames))
                at += gap_frames
            pieces.append(stereo(clip))
            self._spans.append((at, at + len(clip)))
            at += len(clip)
        self._samples = np.concatenate(pieces)
        self._next = 0
        self.n_frames = len(self._samples)
        self.onset_frame = lead_in_frames

    def render(self, n: int) -> Samples:
        """The next n frames, fewer at the end."""
        block = self._samples[self._next : self._next + n]
        self._next += len(block)
        return block

    def clip_at(self, frame: int) -> int | None:
        """The clip at a frame, or None in lead-in and gaps."""
        return next((i for i, (start, stop) in enumerate(self._spans) if start <= frame < stop), None)

    def share_at(self, frame: int) -> float:
        """How much of the clip at a frame is over."""
        return next(((frame - a) / (b - a) for a, b in self._spans if a <= frame < b), 0.0)


class Switched:
    """Aligned clips of a trial: one sounds; a switch cross-fades to the same instant of another.

    A loop may be started again, or kept to a part of the clips; both jumps are cross-faded.
    """

    def __init__(
        self,
        clips: Sequence[Samples],
        *,
        rate_hz: int,
        loops: bool,
        start: int = 0,
        gains_db: Sequence[float] = (),
        lead_in_frames: int = 0,
        fade_s: float = FADE_S,
    ) -> None:
        length = max(len(clip) for clip in clips)
        self._clips = [_padded(stereo(clip), length) for clip in clips]
        self._gains = [_factor(gain_db) for gain_db in (gains_db or [0.0] * len(clips))]
        self._length = length
        self._loops = loops
        self._lead_in = lead_in_frames
        self._fade = raised_cosine(round(fade_s * rate_hz))
        self._wanted = start
        self._before = self._current = (start, self._gains[start])
        self._faded = len(self._fade)  # how far the fade from `_before` to `_current` is
        self._next = 0
        self._at = self._before_at = 0  # where the clips of both states are read
        self._part = (0, length)
        self._jumps = False
        self.energy_frames = [0.0] * len(clips)
        """How many frames of each clip went out, times the square of its gain."""
        self.n_frames = lead_in_frames + length
        self.onset_frame = lead_in_frames

    def switch(self, clip: int) -> None:
        """Let another clip sound; a fade under way is finished first."""
        if not 0 <= clip < len(self._clips):
            raise IndexError(f"clip {clip} of {len(self._clips)}")
        self._wanted = clip

    def again(self) -> None:
        """Go back to the start of the loop, or of its part."""
        self._jumps = True

    def part(self, start: float, stop: float) -> None:
        """Loop from one share of the clips to another, each 0 to 1; no part is shorter than two fades."""
        first = round(min(max(start, 0.0), 1.0) * self._length)
        last = min(max(round(stop * self._length), first + 2 * len(self._fade)), self._length)
        self._part = (max(0, min(first, last - 2 * len(self._fade))), last)
        self._jumps = self._jumps or not self._part[0] <= self._at < last

    def gain(self, clip: int, gain_db: float) -> None:
        """Another gain for one clip, faded in the same way."""
        self._gains[clip] = _factor(gain_db)

    def render(self, n: int) -> Samples:
        """The next n frames; without a loop fewer at the end."""
        if not self._loops:
            n = min(n, self.n_frames - self._next)
        block = np.empty((n, 2), dtype=np.float32)
        done = 0
        while done < n:
            done += self._render_piece(block[done:])
        return block

    def clip_at(self, frame: int) -> int | None:
        """The clip that sounds now (a switch counts from its begin)."""
        return None if frame < self._lead_in else self._current[0]

    def share_at(self, frame: int) -> float:
        """How much of this round is over."""
        return 0.0 if frame < self._lead_in else self._at / self._length

    def _render_piece(self, block: Samples) -> int:
        """Fill the front of `block` up to the next change of state; how many frames that was."""
        if self._next < self._lead_in:
            n = min(len(block), self._lead_in - self._next)
            block[:n] = 0.0
            self._next += n
            return n
        self._turn()
        fades = self._faded < len(self._fade)
        n = min(len(block), (self._length if fades else self._part[1]) - self._at)
        if fades:
            n = min(n, len(self._fade) - self._faded, self._length - self._before_at)
            rise = self._fade[self._faded : self._faded + n, np.newaxis]
            old = self._sounding(self._before, self._before_at, n)
            new = self._sounding(self._current, self._at, n)
            block[:n] = old + rise * (new - old)  # identical clips: exactly the clip
            self._faded += n
            self._before_at = (self._before_at + n) % self._length
        else:
            block[:n] = self._sounding(self._current, self._at, n)
        clip, factor = self._current
        self.energy_frames[clip] += n * factor**2
        self._next += n
        self._at += n
        is_at_end = self._at >= self._part[1] and self._faded >= len(self._fade)
        if is_at_end or self._at >= self._length:
            self._come_round()
        return n

    def _turn(self) -> None:
        """Begin the fade to another sound or place, once a fade under way is over."""
        wanted = (self._wanted, self._gains[self._wanted])
        if self._faded < len(self._fade) or (wanted == self._current and not self._jumps):
            return
        self._before, self._current, self._faded = self._current, wanted, 0
        self._before_at = self._at
        if self._jumps:
            self._at, self._jumps = self._part[0], False

    def _come_round(self) -> None:
        """Go back at the end of a round: faded within the clips, plainly at their own ends."""
        if self._part == (0, self._length):
            self._at = 0
            return
        self._before, self._before_at, self._faded = self._current, self._at % self._length, 0
        self._at = self._part[0]

    def _sounding(self, state: tuple[int, float], at: int, n: int) -> Samples:
        clip, factor = state
        piece = self._clips[clip][at : at + n]
        return piece if factor == 1.0 else piece * np.float32(factor)


def _factor(gain_db: float) -> float:
    return float(10 ** (gain_db / 20))


def raised_cosine(n: int) -> NDArray[np.float64]:
    """(n,) rise from just above 0 to just below 1, half a cosine."""
    return np.asarray(0.5 - 0.5 * np.cos(np.pi * (np.arange(n) + 0.5) / max(n, 1)))


def _silence(n: int) -> Samples:
    return np.zeros((n, 2), dtype=np.float32)


def _padded(clip: Samples, length: int) -> Samples:
    return np.concatenate([clip, _silence(length - len(clip))])
