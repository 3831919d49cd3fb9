"""A sound too long to be held: its samples stay in the file and are read as they are wanted."""

import os
from pathlib import Path
from typing import Literal

import numpy as np
import soundfile

from listening.audio.sound import FloatArray, Sound
from listening.errors import SoundError

HELD_SAMPLES = 2**23  # of all channels: a shorter part is held, 64 MiB
MEAN: Literal["mean"] = "mean"  # of all channels


class LongSound(Sound):
    """As `Sound`, but `samples` reads the whole file each time: read parts and blocks of it."""

    def __init__(
        self,
        path: Path,
        rate_hz: int,
        *,
        start: int,
        stop: int,
        channels: tuple[int, ...] | Literal["mean"],
        pascal_per_full_scale: float | None,
    ) -> None:
        for name, value in {
            "path": path,
            "first": start,
            "end": stop,
            "which": channels,
            "rate_hz": rate_hz,
            "pascal_per_full_scale": pascal_per_full_scale,
            "name": path.name,
        }.items():
            object.__setattr__(self, name, value)
        self._check_scale()

    path: Path
    first: int
    end: int
    which: tuple[int, ...] | Literal["mean"]

    @property
    def samples(self) -> FloatArray:
        """(n, channels): all of it, read from the file each time."""
        return self.read(0, self.n_samples)

    @property
    def n_samples(self) -> int:
        return self.end - self.first

    @property
    def n_channels(self) -> int:
        return 1 if self.which == MEAN else len(self.which)

    def read(self, start: int, stop: int) -> FloatArray:
        """(m, channels) samples from `start` up to `stop`, cut to the sound's ends.

        Raises
        ------
        SoundError
            The file is no longer as it was when it was opened.
        """
        first = self.first + max(start, 0)
        count = max(0, min(self.first + stop, self.end) - first)
        try:
            with soundfile.SoundFile(os.fsencode(self.path)) as file:
                file.seek(first)
                found = file.read(count, dtype="float64", always_2d=True)
        except (soundfile.LibsndfileError, RuntimeError, OSError) as error:
            raise SoundError(f"{self.path}: changed while it was read ({error}); start again") from error
        if len(found) < count:
            raise SoundError(f"{self.path}: became shorter while it was read; start again")
        chosen = found.mean(axis=1, keepdims=True) if self.which == MEAN else found[:, list(self.which)]
        return np.asarray(chosen, dtype=np.float64)

    def between(self, start: int, stop: int) -> Sound:
        """From sample `start` up to `stop`; held where it is short enough, else of the file again."""
        start, stop = max(start, 0), min(max(stop, 0), self.n_samples)
        if (stop - start) * self.n_channels <= HELD_SAMPLES:
            return Sound(self.read(start, stop), self.rate_hz, self.pascal_per_full_scale, self.name)
        return self._with(start=self.first + start, stop=self.first + stop)

    def part(self, start_s: float, stop_s: float) -> Sound:
        """From `start_s` up to `stop_s`, cut to the sound's ends."""
        return self.between(round(max(start_s, 0.0) * self.rate_hz), round(stop_s * self.rate_hz))

    def channel(self, index: int) -> Sound:
        """One channel as a sound of its own; counts from 0."""
        if not 0 <= index < self.n_channels:
            raise SoundError(f"{self.name}: channel {index + 1} wanted, the sound has {self.n_channels}")
        return self if self.which == MEAN else self._with(channels=(self.which[index],))

    def mono(self) -> Sound:
        """The mean of the channels."""
        whole = self.which == MEAN or self.n_channels == 1
        return self if whole else self._with(channels=MEAN)

    def amplified(self, gain_db: float) -> Sound:
        """Held whole: the same samples times 10^(gain/20)."""
        return self.held().amplified(gain_db)

    def held(self) -> Sound:
        """The same with its samples in memory."""
        return Sound(self.samples, self.rate_hz, self.pascal_per_full_scale, self.name)

    def _with(
        self,
        *,
        start: int | None = None,
        stop: int | None = None,
        channels: tuple[int, ...] | Literal["mean"] | None = None,
    ) -> "LongSound":
        return LongSound(
            self.path,
            self.rate_hz,
            start=self.first if start is None else start,
            stop=self.end if stop is None else stop,
            channels=self.which if channels is None else channels,
            pascal_per_full_scale=self.pascal_per_full_scale,
        )
