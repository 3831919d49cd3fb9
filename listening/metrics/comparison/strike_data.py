"""What a comparison knows of one strike."""

from dataclasses import dataclass

from listening.audio.sound import Sound
from listening.metrics import decay, loudness, measures, strike
from listening.metrics.comparison import exposure
from listening.metrics.comparison.exposure import Exposures
from listening.metrics.measures import Channel
from listening.metrics.partials import Partial

Numbers = dict[str, float | None]


@dataclass(frozen=True, eq=False)
class Strike:
    """One strike, measured."""

    name: str
    unit: str
    """Which specimen was struck."""
    calibrated: bool
    rate_hz: int
    numbers: Numbers
    """By metric, see `rows.UNITS`."""
    exposures: Exposures
    partials: tuple[Partial, ...]


def of(
    sound: Sound,
    *,
    length_s: float,
    above_db: float | None = None,
    background: Sound | None = None,
    unit: str = "1",
    examined: Channel | None = None,
) -> Strike:
    """A one-channel sound as one strike.

    Parameters
    ----------
    length_s : from the onset, over which energies are taken
    above_db : level whose duration above is taken; None leaves it out
    examined : what `measures.examine` said of the sound, where that is known
    """
    found = measures.examine(sound) if examined is None else examined
    energies = exposure.measure(sound, found.onset.time_s, length_s=length_s, background=background)
    numbers = _numbers(sound, found) | {
        "lae_db": _or_none(energies.lae_db),
        "lze_db": _or_none(energies.lze_db),
        "above_level_s": None if above_db is None else strike.above_level_s(sound, above_db),
    }
    return Strike(sound.name, unit, sound.calibrated, sound.rate_hz, numbers, energies, found.partials)


def ring_s(sound: Sound, onset_s: float) -> float:
    """What is recorded after the onset, trailing zeros left out: padding is no recording."""
    last = sound.samples[:, 0].nonzero()[0][-1]
    return float((last + 1) / sound.rate_hz - onset_s)


def _numbers(sound: Sound, found: Channel) -> Numbers:
    nmax = found.course.nmax_sone if found.course else None
    attack = strike.attack(sound, found.onset.time_s, found.partials)
    return {
        "laf_max_db": found.levels.laf_max_db,
        "lc_peak_db": found.levels.lc_peak_db,
        "nmax_sone": nmax,
        "loudness_level_phon": loudness.level_phon(nmax) if nmax is not None else None,
        "sharpness_acum": found.sharpness_acum,
        "centroid_hz": found.centroid_hz,
        "rise_s": attack.rise_s,
        "strike_noise_db": attack.strike_noise_db,
        "decay_s": decay.study_decay_s(found.course) if found.course else None,
        "edt_s": found.decays.edt_s,
        "t20_s": found.decays.t20_s,
        "t30_s": found.decays.t30_s,
    }


def _or_none(value: float) -> float | None:
    return value if value == value else None  # NaN is what the background hides
