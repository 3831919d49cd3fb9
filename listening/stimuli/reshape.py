"""A strike put together again with other damping or another colour; the rest of it stays."""

from dataclasses import dataclass, replace

import numpy as np
import scipy

from listening.audio.sound import FloatArray, Sound
from listening.metrics.ringing.modes import Modes
from listening.stimuli import crowded
from listening.stimuli.minimum_phase import minimum_phase
from listening.stimuli.modal import Split, ringing

PIVOT_HZ = 2000.0
TILT_RANGE_HZ = (150.0, 14_000.0)  # outside, the colour filter stays level
N_TAPS = 2048
REFERENCE_HZ = 1000.0


@dataclass(frozen=True)
class Damping:
    """A factor on the damping of each partial, straight in log factor over log frequency."""

    log_at_1_khz: float = 0.0
    slope: float = 0.0
    """Change of the log factor over one neper of frequency."""
    range_hz: tuple[float, float] = (0.0, np.inf)
    """Beyond it the factor stays what it is at its ends."""

    def factor(self, frequency_hz: FloatArray) -> FloatArray:
        """(m,) what the damping is multiplied by."""
        inside = np.clip(frequency_hz, max(self.range_hz[0], 1.0), self.range_hz[1])
        return np.asarray(np.exp(self.log_at_1_khz + self.slope * np.log(inside / REFERENCE_HZ)))

    def times(self, factor: float) -> "Damping":
        """All damping by one factor more."""
        return replace(self, log_at_1_khz=self.log_at_1_khz + float(np.log(factor)))


UNCHANGED = Damping()


def together(split: Split, *, damping: Damping = UNCHANGED, tilt_db_per_octave: float = 0.0) -> Sound:
    """The sound with its partials damped otherwise and weighted by a tilt; the strike's noise stays.

    The partials keep their frequency and phase, and but for the tilt their strength at the onset, crowded
    peaks their first instants; what no partial explains, the strike's noise and the room's, stays as it is.
    Without a change the samples are those of the original, to rounding.
    """
    sound = split.sound
    moved = partials_of(split, damping, tilt_db_per_octave)
    return replace(sound, samples=moved + split.residual)


def partials_of(split: Split, damping: Damping, tilt_db_per_octave: float) -> FloatArray:
    """(n,) the partials of the sound so made, without the strike's noise."""
    sound = split.sound
    if not split.peaks:
        partials = tilted(damped(split.modes, damping), tilt_db_per_octave)
        return ringing(partials, sound.n_samples, sound.rate_hz, split.onset_s)
    factor = damping.factor(np.array([peak.centre_hz for peak in split.peaks]))
    moved = split.modal if split.is_dense else crowded.moved(sound, split.onset_s, split.peaks, factor)
    if not tilt_db_per_octave:
        return moved
    coloured = scipy.signal.oaconvolve(moved, tilt_filter(tilt_db_per_octave, sound.rate_hz))
    return np.asarray(coloured[: len(moved)])


def tilted(modes: Modes, db_per_octave: float) -> Modes:
    """The same partials, each as strong as the tilt has it."""
    gain = 10.0 ** (db_per_octave * _octaves(modes.frequency_hz) / 20.0)
    return Modes(modes.decay_per_s, modes.frequency_hz, modes.amplitude * gain)


def damped(modes: Modes, damping: Damping) -> Modes:
    """The same partials, their damping multiplied."""
    factor = damping.factor(modes.frequency_hz)
    return Modes(modes.decay_per_s * factor, modes.frequency_hz, modes.amplitude)


def tilt_filter(db_per_octave: float, rate_hz: int) -> FloatArray:
    """(2048,) minimum-phase filter whose gain rises by so much an octave, 0 dB at 2 kHz."""
    frequency_hz = np.fft.rfftfreq(4 * N_TAPS, 1 / rate_hz)
    return minimum_phase(
        10.0 ** (db_per_octave * _octaves(np.asarray(frequency_hz, dtype=np.float64)) / 20.0)
    )[:N_TAPS]


def _octaves(frequency_hz: FloatArray) -> FloatArray:
    """Octaves over the pivot; outside the filter's range it stays level."""
    return np.asarray(np.log2(np.clip(frequency_hz, *TILT_RANGE_HZ) / PIVOT_HZ))
