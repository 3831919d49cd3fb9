"""What a comparison knows of one strike."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from listening.audio.sound import Sound
from listening.metrics import measures
from listening.metrics.comparison import exposure
from listening.metrics.comparison.exposure import Exposures
from listening.metrics.loud import loudness
from listening.metrics.loud.loudness import Course
from listening.metrics.measures import Channel
from listening.metrics.ringing.partials import Partial
from listening.metrics.striking import audibility, decay, strike

Numbers = dict[str, float | None]


@dataclass(frozen=True)
class Mode:
    """One decaying oscillation of one strike, as comparisons read it."""

    frequency_hz: float
    level_db: float
    """at the onset"""
    t60_s: float
    """as this strike alone reads it"""
    common_hz: float
    common_t60_s: float
    """of the pole that all strikes of the specimen have in common; this strike's own where there is none"""
    model_se: float
    """standard error of ln T60 that all strikes have alike: from the model's order, start and stretch"""
    doubts: tuple[str, ...]
    """kinds of `partial_doubts`"""
    is_common: bool = False


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
    onset_s: float
    partials: tuple[Partial, ...]
    """Found in this strike alone."""
    modes: tuple[Mode, ...]
    """What comparisons read; see `common_poles.of_side`."""
    channel: int = 0
    """Place, among the channels that were measured, of the one that the partials are of."""


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
    room = None if background is None or not sound.calibrated else loudness.course(background)
    numbers = _numbers(sound, found) | {
        "audible_s": _audible_s(found, room),
        "lae_db": _or_none(energies.lae_db),
        "lze_db": _or_none(energies.lze_db),
        "above_level_s": None if above_db is None else strike.above_level_s(sound, above_db),
    }
    return Strike(
        name=sound.name,
        unit=unit,
        calibrated=sound.calibrated,
        rate_hz=sound.rate_hz,
        numbers=numbers,
        exposures=energies,
        onset_s=found.onset.time_s,
        partials=found.partials,
        modes=tuple(map(_alone, found.partials)),
    )


def averaged(strikes: Sequence[Strike]) -> Strike:
    """Several channels of one strike as one: energies averaged, other numbers their mean.

    Partials are those of the channel with the largest LAFmax.
    """
    if len(strikes) == 1:
        return strikes[0]
    numbers: Numbers = {}
    for name in strikes[0].numbers:
        known = [v for s in strikes if (v := s.numbers[name]) is not None]
        numbers[name] = measures.average(known, name) if len(known) == len(strikes) else None
    loudest = max(range(len(strikes)), key=lambda i: strikes[i].numbers["laf_max_db"] or -math.inf)
    energies = exposure.averaged([s.exposures for s in strikes])
    return replace(strikes[loudest], numbers=numbers, exposures=energies, channel=loudest)


def ring_s(sound: Sound, onset_s: float) -> float:
    """What is recorded after the onset, trailing zeros left out: padding is no recording."""
    return float(sound.sounding_samples() / sound.rate_hz - onset_s)


def _alone(p: Partial) -> Mode:
    kinds = tuple(d.kind for d in p.doubts)
    model_se = math.sqrt(max(0.0, p.t60_se_s**2 - p.t60_noise_se_s**2)) / p.t60_s
    return Mode(p.frequency_hz, p.level_db, p.t60_s, p.frequency_hz, p.t60_s, model_se, kinds)


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
        "attack_s": attack.attack_s,
        "strike_noise_db": attack.strike_noise_db,
        "decay_s": decay.study_decay_s(found.course) if found.course else None,
        "edt_s": found.decays.edt_s,
        "t20_s": found.decays.t20_s,
        "t30_s": found.decays.t30_s,
    }


def _audible_s(found: Channel, room: Course | None) -> float | None:
    if found.course is None:
        return None
    return audibility.inaudible_after_s(found.course, found.onset.time_s, room)


def _or_none(value: float) -> float | None:
    return value if value == value else None  # NaN is what the background hides
