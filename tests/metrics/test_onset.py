"""The rumble filter in front of the onset; the onset itself is tested in test_strike."""

import numpy as np
from scipy import signal

from listening.audio.sound import Sound
from listening.metrics import onset


def test_the_rumble_filter_is_the_butterworth_recursion() -> None:
    # reference: scipy.signal's design and recursion; both round at 1e-16 a step over 48,000 samples
    samples = np.random.default_rng(3).standard_normal(48_000) * np.exp(-np.arange(48_000) / 5_000)
    for rate_hz in (44_100, 96_000):
        sections = signal.butter(2, onset.RUMBLE_HZ, "highpass", fs=rate_hz, output="sos")
        wanted = signal.sosfilt(sections, samples - samples[0])
        found = onset._without_rumble(Sound(samples[:, np.newaxis], rate_hz))
        np.testing.assert_allclose(found, wanted, rtol=0, atol=5e-12)
