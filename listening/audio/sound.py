"""A sound: samples, their rate, and what full scale means in pascal."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from listening.errors import SoundError

FloatArray = NDArray[np.float64]

REFERENCE_PRESSURE_PA = 20e-6  # ISO 1683: reference of sound pressure level in air
CALIBRATIONS = (1e-9, 1e9)  # pascal per full scale, far beyond any microphone
LOWEST_RATE_HZ = 8000
HIGHEST_RATE_HZ = 768_000


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
        if self.n_channels != 1:
            raise SoundError(
                f"{self.name}: has {self.n_channels} channels, one wanted; measure them one by one"
            )
        return self.pressure[:, 0]


def _checked_samples(samples: FloatArray, name: str) -> FloatArray:
    array = np.array(samples, dtype=np.float64)
    if array.ndim == 1:
        array = array[:, np.newaxis]
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
    array.flags.writeable = False
    return array


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
