"""What must stay when partials are moved: the peak, the strike's noise and the instant of the strike."""

from dataclasses import dataclass

import numpy as np

from listening.audio.sound import Sound
from listening.errors import StudyError
from listening.metrics.striking import onset
from listening.metrics.striking.strike import CONTACT_S
from listening.records.protocols.isolation import Isolation
from listening.stimuli import reshape
from listening.stimuli.modal import Split
from listening.stimuli.reshape import Damping

ONSET_TOLERANCE_MS = 2.0  # two frames of 1 ms: an onset is known to one
LEAST_NOISE_DB = -80.0  # re all of the first 50 ms: less is rounding, no noise of the strike


@dataclass(frozen=True)
class Heard:
    """A sound made from a strike, as it is played."""

    sound: Sound
    """Trimmed, at the matched level."""
    gain_db: float
    """That brought it there."""
    tilt_db_per_octave: float
    damping: Damping


@dataclass(frozen=True)
class HeldStrike:
    """What moved of the strike itself, against the untouched one at the matched level."""

    peak_db: float
    strike_noise_db: float | None
    onset_ms: float


def checked(split: Split, moved: Heard, base: Heard, isolation: Isolation) -> HeldStrike:
    """What moved of the strike.

    Raises
    ------
    StudyError
        Peak, strike noise or onset moved by more than is allowed: with the numbers and the way out.
    """
    found = HeldStrike(
        peak_db=_peak_db(moved.sound) - _peak_db(base.sound),
        strike_noise_db=_noise_moved_db(split, moved, base),
        onset_ms=1000.0 * (onset.find(moved.sound).time_s - onset.find(base.sound).time_s),
    )
    limits = (
        ("peak", found.peak_db, isolation.peak_tolerance_db, "dB", "peak_tolerance_db"),
        (
            "strike noise",
            found.strike_noise_db or 0.0,
            isolation.strike_noise_tolerance_db,
            "dB",
            "strike_noise_tolerance_db",
        ),
        ("onset", found.onset_ms, ONSET_TOLERANCE_MS, "ms", ""),
    )
    for what, by, limit, unit, key in limits:
        if abs(by) > limit:
            way_out = f", or a larger isolation.{key}" if key else ", or a recording with less noise"
            raise StudyError(
                f"{split.sound.name}: the {what} would move by {by:+.1f} {unit}, {limit:g} {unit} allowed: "
                f"it could be what is heard; ask for a smaller ratio{way_out}"
            )
    return found


def _peak_db(sound: Sound) -> float:
    return float(20 * np.log10(np.abs(sound.samples).max()))


def _noise_moved_db(split: Split, moved: Heard, base: Heard) -> float | None:
    """Energy of the first 50 ms that no partial explains, over that of the untouched strike."""
    energies = []
    first = slice(
        round(split.onset_s * split.sound.rate_hz), round((split.onset_s + CONTACT_S) * split.sound.rate_hz)
    )
    for one in (moved, base):
        made = reshape.together(split, damping=one.damping, tilt_db_per_octave=one.tilt_db_per_octave)
        partials = reshape.partials_of(split, one.damping, one.tilt_db_per_octave)
        left = float(((made.samples[first, 0] - partials[first]) ** 2).sum())
        if left < 10 ** (LEAST_NOISE_DB / 10) * float((made.samples[first, 0] ** 2).sum()):
            return None
        energies.append(10 * np.log10(left) + one.gain_db)
    return float(energies[0] - energies[1])
