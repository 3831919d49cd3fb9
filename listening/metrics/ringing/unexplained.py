"""How much of what rings on after the contact is no partial that was found."""

import numpy as np

from listening.audio.sound import FloatArray, Sound
from listening.metrics.ringing import modes
from listening.metrics.ringing.mode_ring import LOWEST_HZ, MEDIAN_OF_MEAN, Ring
from listening.metrics.ringing.modes import LN_1000, Modes
from listening.metrics.ringing.partials import Partial
from listening.metrics.striking import ringing_part

CONTACT_S = 0.05  # after the onset: before, the strike's own noise is no ringing
HIGHEST_HZ = 20_000.0
STRETCH_HZ = 200.0  # over which the noise is taken to be even
SCATTER = 3.0  # standard deviations of the noise's energy, below which nothing is left


def share(sound: Sound, onset_s: float, partials: tuple[Partial, ...]) -> float | None:
    """Energy beyond the noise that no partial explains over all energy beyond the noise, 0 to 1.

    Of a one-channel sound, from 50 ms after the onset to its end, 100 Hz to 20 kHz. None where there are no
    partials, less than 0.3 s rings on, or nothing stands out of the noise.
    """
    if not partials:
        return None
    sound, onset_s = ringing_part.of(sound, onset_s)
    start = round((onset_s + CONTACT_S) * sound.rate_hz)
    ring = Ring.of(sound.only_channel()[start:], sound.rate_hz)
    if ring is None:
        return None
    left = ring.spectrum.copy()
    from_onset_s = start / sound.rate_hz - onset_s
    present = modes.advanced(as_modes(partials, sound.reference), from_onset_s)
    modes.add(left, present, -1.0, bin_hz=ring.bin_hz, frame=ring.frame)
    inside = (ring.bin_hz >= LOWEST_HZ) & (ring.bin_hz <= HIGHEST_HZ)
    noise, scatter = _noise(ring, int(inside.sum()))
    whole = float((np.abs(ring.spectrum[inside]) ** 2).sum()) - noise
    rest = float((np.abs(left[inside]) ** 2).sum()) - noise
    if whole <= SCATTER * scatter:
        return None
    return 0.0 if rest <= SCATTER * scatter else min(1.0, rest / whole)


def as_modes(partials: tuple[Partial, ...], reference: float) -> Modes:
    """Partials as modes from the onset; `reference` is what 0 dB means in the sound's own unit."""
    peak = np.array([10.0 ** (p.level_db / 20.0) for p in partials]) * reference * np.sqrt(2.0)
    turn = np.exp(1j * np.array([p.phase_rad for p in partials]))
    decay = np.array([LN_1000 / p.t60_s for p in partials])
    return Modes(decay, np.array([p.frequency_hz for p in partials]), 0.5 * peak * turn)


def _noise(ring: Ring, n_bins: int) -> tuple[float, float]:
    """Energy of noise like that at the end over the bins, and its standard deviation."""
    to_bin = (len(ring.late) - 1) / (0.5 * ring.frame.rate_hz)
    first, last = int(LOWEST_HZ * to_bin), int(min(HIGHEST_HZ, 0.5 * ring.frame.rate_hz) * to_bin)
    late: FloatArray = ring.late[first:last]
    width = max(8, int(STRETCH_HZ * to_bin))
    whole = late[: len(late) // width * width].reshape(-1, width) if len(late) >= width else late[np.newaxis]
    mean = float(np.median(whole, axis=1).mean()) / MEDIAN_OF_MEAN
    # the level of the noise is read from its own bins, a quarter as many
    return mean * n_bins, mean * float(np.sqrt(n_bins + n_bins**2 / (0.5 * max(1, late.size))))
