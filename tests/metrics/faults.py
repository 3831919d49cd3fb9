"""Bells with known partials, and what recordings do to them: gains, rooms and sources that move."""

from collections.abc import Callable

import numpy as np
from scipy import signal

from listening.audio.sound import FloatArray, Sound
from tests.metrics.signals import RATE_HZ

HZ = (700.0, 1310.0, 2150.0, 3400.0, 5200.0, 8100.0)
T60_S = (3.0, 2.2, 1.8, 1.5, 1.1, 0.8)
PEAKS = (0.2, 0.2, 0.15, 0.1, 0.08, 0.05)
LN_1000 = np.log(1000.0)
Warp = Callable[[FloatArray], FloatArray]


def six(warp: Warp = lambda t: t, *, noise_rms: float = 2e-5, seed: int = 0) -> FloatArray:
    """(n,) a strike at 0.3 s; `warp` says which time the oscillations (not their decays) see."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(4 * RATE_HZ) / RATE_HZ - 0.3
    ring = time_s >= 0
    total = noise_rms * rng.standard_normal(len(time_s))
    for hz, t60_s, peak in zip(HZ, T60_S, PEAKS, strict=True):
        phase = rng.uniform(0, 2 * np.pi)
        decay = np.exp(-LN_1000 * time_s[ring] / t60_s)
        total[ring] += 0.8 * peak * decay * np.cos(2 * np.pi * hz * warp(time_s[ring]) + phase)
    return np.asarray(total)


def automatic_gain(samples: FloatArray, *, release_s: float, ratio: float = 4.0) -> FloatArray:
    """The samples behind a compressor with a fast attack, a threshold of 0.05, and this release."""
    fast, slow = np.exp(-1 / (0.005 * RATE_HZ)), np.exp(-1 / (release_s * RATE_HZ))
    envelope, level = np.empty(len(samples)), 0.0
    for i, value in enumerate(np.abs(samples)):
        keep = fast if value > level else slow
        level = keep * level + (1 - keep) * value
        envelope[i] = level
    return np.asarray(samples * np.maximum(envelope / 0.05, 1.0) ** (1 / ratio - 1))


def in_a_room(samples: FloatArray, *, t60_s: float, share: float, seed: int = 3) -> FloatArray:
    """The samples with a diffuse tail of this reverberation time added."""
    n = round(t60_s * RATE_HZ)
    tail = np.random.default_rng(seed).standard_normal(n) * np.exp(-LN_1000 * np.arange(n) / RATE_HZ / t60_s)
    tail *= share / np.sqrt((tail**2).sum())
    tail[0] += 1.0
    return np.asarray(signal.fftconvolve(samples, tail)[: len(samples)])


def few_modes(seed: int) -> tuple[FloatArray, list[tuple[float, float]]]:
    """A strike at 0.2 s of six modes 45 to 60 dB over its noise, 300 Hz apart; and (Hz, T60) of each."""
    rng = np.random.default_rng(seed)
    hz = np.zeros(6)
    while np.diff(hz).min() < 300:
        hz = np.sort(np.exp(rng.uniform(np.log(500), np.log(11_000), 6)))
    time_s = np.arange(4 * RATE_HZ) / RATE_HZ - 0.2
    total, truth = 1e-4 * np.sqrt(24 / 20) * rng.standard_normal(len(time_s)), []
    ring = time_s >= 0
    for f in hz:
        t60_s = float(np.exp(rng.uniform(np.log(0.8), np.log(3))))
        peak = 1e-4 * np.sqrt(2) * 10 ** (rng.uniform(45, 60) / 20)
        wave = np.cos(2 * np.pi * f * time_s[ring] + rng.uniform(0, 6.28))
        total[ring] += peak * np.exp(-LN_1000 * time_s[ring] / t60_s) * wave
        truth.append((float(f), t60_s))
    return np.asarray(total), truth


def growing_gain(samples: FloatArray, *, gain_db: float, within_s: float) -> FloatArray:
    """The samples from 0.2 s on behind a gain that goes to this value exponentially."""
    time_s = np.maximum(np.arange(len(samples)) / RATE_HZ - 0.2, 0.0)
    return np.asarray(samples * 10 ** (gain_db * (1 - np.exp(-time_s / within_s)) / 20))


def random_bell(
    seed: int, *, doublets: bool = False, n_modes: int = 12
) -> tuple[Sound, list[tuple[float, tuple[float, ...]]]]:
    """A bell of modes 20 to 60 dB over noise that fills 20 kHz, at least 30 Hz apart; half of them double.

    Gives the sound and, mode by mode, frequency and the T60 of all that ring there.
    """
    rng = np.random.default_rng(seed)
    hz = np.zeros(n_modes)
    while np.diff(hz).min() < 30:
        hz = np.sort(np.exp(rng.uniform(np.log(400), np.log(12_000), n_modes)))
    time_s = np.arange(4 * RATE_HZ) / RATE_HZ - 0.2
    ring, noise_rms = time_s >= 0, 1e-4
    total = noise_rms * np.sqrt(24 / 20) * rng.standard_normal(len(time_s))
    truth = []
    for f in hz:
        t60_s = float(np.exp(rng.uniform(np.log(0.3), np.log(4))))
        peak = noise_rms * np.sqrt(2) * 10 ** (rng.uniform(20, 60) / 20)
        modes = [(f, t60_s, peak)]
        if doublets and rng.random() < 0.5:
            split_hz = np.exp(rng.uniform(np.log(0.3), np.log(20)))
            modes.append((f + split_hz, t60_s * np.exp(rng.uniform(-0.2, 0.2)), peak * rng.uniform(0.1, 1)))
        for mode_hz, decay_s, size in modes:
            wave = np.cos(2 * np.pi * mode_hz * time_s[ring] + rng.uniform(0, 2 * np.pi))
            total[ring] += size * np.exp(-LN_1000 * time_s[ring] / decay_s) * wave
        truth.append((float(f), tuple(float(m[1]) for m in modes)))
    return Sound(total, RATE_HZ), truth
