"""Sounds whose numbers are known, and the published values to hold them against."""

import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from listening.audio.sound import REFERENCE_PRESSURE_PA, FloatArray, Sound

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "stimuli_demo"
REAL = Path("/usr/share/sonic-pi/samples")
RATE_HZ = 48_000


def published(name: str) -> dict[str, Any]:
    """A file of tests/published."""
    return tomllib.loads((ROOT / "tests" / "published" / f"{name}.toml").read_text())


def seconds(duration_s: float, rate_hz: int = RATE_HZ) -> FloatArray:
    """Instants of the samples."""
    return np.arange(round(duration_s * rate_hz)) / rate_hz


def sine(frequency_hz: float, duration_s: float, *, peak: float = 1.0, rate_hz: int = RATE_HZ) -> Sound:
    """An uncalibrated sine."""
    return Sound(peak * np.sin(2 * np.pi * frequency_hz * seconds(duration_s, rate_hz)), rate_hz)


def pascals(pressure: FloatArray, rate_hz: int = RATE_HZ) -> Sound:
    """A calibrated sound from its pressure."""
    return Sound(pressure, rate_hz, 1.0)


def tone_pressure(
    frequency_hz: float, level_db: float, duration_s: float, rate_hz: int = RATE_HZ
) -> FloatArray:
    """Pressure of a sine of a level in dB re 20 µPa."""
    peak = np.sqrt(2) * REFERENCE_PRESSURE_PA * 10 ** (level_db / 20)
    return np.asarray(peak * np.sin(2 * np.pi * frequency_hz * seconds(duration_s, rate_hz)))


def strike(
    frequencies_hz: Sequence[float],
    t60_s: Sequence[float],
    peaks: Sequence[float],
    *,
    duration_s: float = 5.0,
    lead_s: float = 0.1,
    noise_rms: float = 0.0,
    rate_hz: int = RATE_HZ,
    seed: int = 1,
) -> FloatArray:
    """Decaying cosines with random phases that begin at `lead_s`, in white noise."""
    rng = np.random.default_rng(seed)
    time_s = seconds(duration_s, rate_hz) - lead_s
    total = noise_rms * rng.standard_normal(len(time_s))
    for f, t60, peak in zip(frequencies_hz, t60_s, peaks, strict=True):
        ring = (
            peak
            * np.exp(-np.log(1000) * time_s / t60)
            * np.cos(2 * np.pi * f * time_s + rng.uniform(0, 6.28))
        )
        total += np.where(time_s >= 0, ring, 0.0)
    return np.asarray(total)


def noise_rms_for(peak: float, snr_db: float) -> float:
    """rms of white noise that a cosine of this peak exceeds by `snr_db`."""
    return float(peak / np.sqrt(2) * 10 ** (-snr_db / 20))
