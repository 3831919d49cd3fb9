"""A sound: samples, their rate, and what full scale means in pascal."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from listening.errors import SoundError

FloatArray = NDArray[np.float64]

REFERENCE_PRESSURE_PA = 20e-6  # ISO 1683: reference of sound pressure level in air
CALIBRATIONS = (1e-9, 1e9)  # pascal per full scale, far beyond any microphone
LOWEST_RATE_HZ = 8000
HIGHEST_RATE_HZ = 768_000
BLOCK_SAMPLES = 2**20  # worked on at a time; 11 s at 96 kHz, so that most sounds are one block


@dataclass(frozen=True, eq=False)
class Sound:
    """Samples with their rate; checked when made, read-only after.

    Raises
    ------
    SoundError
        Fewer than two samples, a sample that is not a finite number, an impossible rate or calibration.
    """

    samples: FloatArray
    """(n, channels), full scale = 1; one-dimensional input becomes one channel"""
    rate_hz: int
    pascal_per_full_scale: float | None = None
    """None: not calibrated, levels are dB re full scale"""
    name: str = "sound"
    """who it is, in messages"""

    def __post_init__(self) -> None:
        object.__setattr__(self, "samples", _checked_samples(self.samples, self.name))
        self._check_scale()

    def _check_scale(self) -> None:
        object.__setattr__(self, "rate_hz", _checked_rate_hz(self.rate_hz, self.name))
        _check_calibration(self.pascal_per_full_scale, self.name)

    @property
    def n_samples(self) -> int:
        return int(self.samples.shape[0])

    @property
    def n_channels(self) -> int:
        return int(self.samples.shape[1])

    @property
    def duration_s(self) -> float:
        return self.n_samples / self.rate_hz

    @property
    def calibrated(self) -> bool:
        return self.pascal_per_full_scale is not None

    @property
    def is_silent(self) -> bool:
        """Whether there is nothing but zeros."""
        return not any(self.read(start, stop).any() for start, stop in self.spans())

    @property
    def block_samples(self) -> int:
        """Of the blocks that it is worked on in."""
        return BLOCK_SAMPLES

    @property
    def is_long(self) -> bool:
        """Whether it is worked on in several blocks."""
        return self.n_samples > self.block_samples

    @property
    def pressure(self) -> FloatArray:
        """(n, channels) in pascal; in units of full scale when the sound is not calibrated."""
        return self.samples * (self.pascal_per_full_scale or 1.0)

    @property
    def reference(self) -> float:
        """What 0 dB is: 20 µPa, or a sample value of 1 when the sound is not calibrated."""
        return REFERENCE_PRESSURE_PA if self.calibrated else 1.0

    def channel(self, index: int) -> "Sound":
        """One channel as a sound of its own; counts from 0."""
        if not 0 <= index < self.n_channels:
            raise SoundError(f"{self.name}: channel {index + 1} wanted, the sound has {self.n_channels}")
        return replace(self, samples=self.samples[:, index : index + 1])

    def mono(self) -> "Sound":
        """The mean of the channels: for looking at and playing back, not for measuring levels."""
        return replace(self, samples=self.samples.mean(axis=1, keepdims=True))

    def part(self, start_s: float, stop_s: float) -> "Sound":
        """From `start_s` up to `stop_s`, cut to the sound's ends."""
        start, stop = round(max(start_s, 0.0) * self.rate_hz), round(stop_s * self.rate_hz)
        return replace(self, samples=self.samples[start : max(stop, 0)])

    def between(self, start: int, stop: int) -> "Sound":
        """From sample `start` up to `stop`, cut to the sound's ends."""
        return replace(self, samples=self.read(start, stop))

    def read(self, start: int, stop: int) -> FloatArray:
        """(m, channels) samples from `start` up to `stop`, cut to the sound's ends."""
        return self.samples[max(start, 0) : max(stop, 0)]

    def spans(self, start: int = 0, stop: int | None = None, *, unit: int = 1) -> Iterator[tuple[int, int]]:
        """First sample and end of one block after another; all but the last of a multiple of `unit`."""
        end = self.n_samples if stop is None else min(stop, self.n_samples)
        size = max(1, self.block_samples // unit) * unit
        for first in range(start, end, size):
            yield first, min(first + size, end)

    def pressure_between(self, start: int, stop: int) -> FloatArray:
        """(m,) pressure of a one-channel sound from sample `start` up to `stop`; raises as `only_channel`."""
        self.check_one_channel()
        return self.read(start, stop)[:, 0] * (self.pascal_per_full_scale or 1.0)

    def pressure_blocks(self, start: int = 0, stop: int | None = None) -> Iterator[FloatArray]:
        """The same block by block."""
        return (self.pressure_between(*span) for span in self.spans(start, stop))

    def sounding_samples(self) -> int:
        """How many samples there are without the zeros at the end of a one-channel sound."""
        for start, stop in reversed(list(self.spans())):
            found = np.flatnonzero(self.read(start, stop)[:, 0])
            if len(found):
                return start + int(found[-1]) + 1
        return 0

    def amplified(self, gain_db: float) -> "Sound":
        """The same samples times 10^(gain/20)."""
        return replace(self, samples=self.samples * 10.0 ** (gain_db / 20.0))

    def only_channel(self) -> FloatArray:
        """(n,) pressure of a one-channel sound.

        Raises
        ------
        SoundError
            The sound has several channels: the caller must choose.
        """
        self.check_one_channel()
        return self.pressure[:, 0]

    def check_one_channel(self) -> None:
        """Refuse a sound of several channels: the caller must choose."""
        if self.n_channels != 1:
            raise SoundError(
                f"{self.name}: has {self.n_channels} channels, one wanted; measure them one by one"
            )


def _checked_samples(samples: FloatArray, name: str) -> FloatArray:
    array = np.array(samples, dtype=np.float64)
    if array.ndim == 1:
        array = array[:, np.newaxis]
    check_shape(array, name)
    array.flags.writeable = False
    return array


def check_shape(array: FloatArray, name: str) -> None:
    """Refuse what is no sound: no samples, or samples that are not numbers."""
    if array.ndim != 2 or array.shape[1] == 0:
        raise SoundError(f"{name}: samples have shape {array.shape}, wanted (samples, channels)")
    if array.shape[0] < 2:
        raise SoundError(f"{name}: holds {array.shape[0]} samples, at least 2 wanted; record it again")
    if not np.isfinite(array).all():
        where = int(np.argmax(~np.isfinite(array).all(axis=1)))
        bad = int((~np.isfinite(array)).sum())
        raise SoundError(
            f"{name}: {bad} samples are not numbers (NaN or infinite), the first at sample {where}; "
            "export the recording again"
        )


def _checked_rate_hz(rate_hz: int, name: str) -> int:
    if int(rate_hz) != rate_hz or not LOWEST_RATE_HZ <= rate_hz <= HIGHEST_RATE_HZ:
        raise SoundError(
            f"{name}: sample rate {rate_hz} Hz, "
            f"wanted a whole number from {LOWEST_RATE_HZ} to {HIGHEST_RATE_HZ} Hz"
        )
    return int(rate_hz)


def _check_calibration(pascal_per_full_scale: float | None, name: str) -> None:
    if pascal_per_full_scale is None:
        return
    least, most = CALIBRATIONS
    if not least <= pascal_per_full_scale <= most:
        raise SoundError(
            f"{name}: {pascal_per_full_scale:g} pascal per full scale, wanted a number above 0 "
            f"({least:g} to {most:g})"
        )
