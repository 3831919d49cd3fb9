"""The sounds of the page of replications, from their definitions: same numbers, same bytes."""

from pathlib import Path

import numpy as np
import soundfile

HERE = Path(__file__).parent
RATE_HZ = 48_000
SCALE_PA = 1.0  # pascal of full scale of the calibrated ones
PRESSURE_0 = 2e-5


def _tone(frequency_hz: float, level_db: float, length_s: float) -> np.ndarray:
    t = np.arange(round(length_s * RATE_HZ)) / RATE_HZ
    return np.sqrt(2) * PRESSURE_0 * 10 ** (level_db / 20) / SCALE_PA * np.sin(2 * np.pi * frequency_hz * t)


def _band_noise(low_hz: float, high_hz: float, level_db: float, length_s: float) -> np.ndarray:
    n = round(length_s * RATE_HZ)
    frequency = np.fft.rfftfreq(n, 1 / RATE_HZ)
    inside = (frequency >= low_hz) & (frequency <= high_hz)
    phase = np.random.default_rng(45692).uniform(0, 2 * np.pi, frequency.size)
    noise = np.fft.irfft(inside * np.exp(1j * phase), n)
    return noise / np.sqrt(np.mean(noise**2)) * PRESSURE_0 * 10 ** (level_db / 20) / SCALE_PA


def _ringing(frequency_hz: float, t60_s: float, length_s: float) -> np.ndarray:
    t = np.arange(round(length_s * RATE_HZ)) / RATE_HZ
    rung = 0.5 * 10 ** (-3 * t / t60_s) * np.sin(2 * np.pi * frequency_hz * t)
    return np.concatenate([np.zeros(RATE_HZ // 10), rung])


def main() -> None:
    """Write them."""
    sounds = {
        "tone_1_khz_40_db": _tone(1000, 40, 1.0),
        "tone_1_khz_60_db": _tone(1000, 60, 1.0),
        "band_noise_1_khz": _band_noise(920, 1080, 60, 2.0),
        "sine_997_hz_full_scale": np.sin(2 * np.pi * 997 * np.arange(RATE_HZ) / RATE_HZ),
        "ringing_1_s": _ringing(1000, 1.0, 1.5),
    }
    for name, samples in sounds.items():
        soundfile.write(HERE / f"{name}.flac", np.clip(samples, -1, 1 - 2**-23), RATE_HZ, subtype="PCM_24")


if __name__ == "__main__":
    main()
