"""Everything there is to know about a sound, and the numbers a study stores, with stable keys."""

from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, fields
from typing import Any

import numpy as np

from listening.audio.sound import Sound
from listening.errors import SoundError
from listening.metrics import channels, level, spectrum
from listening.metrics.level import Levels
from listening.metrics.loud import loudness, loudness_bs1770, sharpness
from listening.metrics.loud.loudness import Course
from listening.metrics.ringing import partials
from listening.metrics.ringing.partials import Partial
from listening.metrics.striking import decay, flags, onset, ringing_end, strike
from listening.metrics.striking.decay import Decays
from listening.metrics.striking.onset import Onset

LEVEL_UNITS = ("_db", "_lufs", "_dbtp")


@dataclass(frozen=True, eq=False)
class Channel:
    """One channel of a sound, measured once; what needs a calibration is None without."""

    onset: Onset
    levels: Levels
    course: Course | None
    sharpness_acum: float | None
    centroid_hz: float | None
    decays: Decays
    partials: tuple[Partial, ...]
    rings_out: bool
    flags: tuple[str, ...]
    fades_from_s: float | None = None
    """where a fade-out begins that decays are read before"""

    @property
    def decay_s(self) -> float | None:
        """The study's decay; None where it is not calibrated, or ends or fades before."""
        return decay.study_decay_s(self.course, until_s=self.fades_from_s) if self.course else None

    @property
    def n5_sone(self) -> float | None:
        """Loudness exceeded 5 % of the recording; None for a strike, where it depends on the length."""
        if self.course is None or self.rings_out:
            return None
        return self.course.exceeded_sone(5.0, window_s=(0.0, float(self.course.time_s[-1]) + loudness.STEP_S))


@dataclass(frozen=True)
class Measures:
    """Numbers of one sound; None where the sound cannot have the value.

    Levels are dB re 20 µPa, or dB re full scale when the sound is not calibrated; then the sone, phon and
    acum values, and the study's decay, are None.
    """

    laf_max_db: float
    lae_db: float
    lc_peak_db: float
    momentary_max_lufs: float
    integrated_lufs: float | None
    true_peak_dbtp: float
    nmax_sone: float | None
    loudness_level_phon: float | None
    """of nmax_sone"""
    sharpness_acum: float | None
    """the study's brightness: loudness-weighted mean over 0 to 300 ms after the onset"""
    centroid_hz: float | None
    decay_s: float | None
    """the study's decay: time for N(t) to fall from its maximum to 10 %"""
    t60_s: float | None
    """of the strongest partials, weighted with their power"""
    edt_s: float | None
    t20_s: float | None
    t30_s: float | None
    flags: tuple[str, ...] = ()

    def as_dict(self) -> dict[str, float | None]:
        """The numbers alone, by name."""
        return {name: value for name, value in asdict(self).items() if name != "flags"}


def measure(sound: Sound, *, fades_from_s: float | None = None) -> Measures:
    """All measures of a sound; of several channels, the one with the largest LAFmax.

    The LUFS and dBTP values are of all channels together, as BS.1770 has it. `fades_from_s` is where a
    fade-out begins: decays are read before it, and are None where the fade comes first.

    Raises
    ------
    SoundError
        Nothing but zeros.
    """
    return summarised(sound, examine(channels.loudest(sound), fades_from_s=fades_from_s))


def summarised(sound: Sound, channel: Channel) -> Measures:
    """The measures of a sound whose decisive channel has been examined already."""
    programme = loudness_bs1770.measure(sound)
    nmax = channel.course.nmax_sone if channel.course else None
    return Measures(
        laf_max_db=channel.levels.laf_max_db,
        lae_db=channel.levels.lae_db,
        lc_peak_db=channel.levels.lc_peak_db,
        momentary_max_lufs=programme.momentary_max_lufs,
        integrated_lufs=programme.integrated_lufs,
        true_peak_dbtp=programme.true_peak_dbtp,
        nmax_sone=nmax,
        loudness_level_phon=loudness.level_phon(nmax) if nmax is not None else None,
        sharpness_acum=channel.sharpness_acum,
        centroid_hz=channel.centroid_hz,
        decay_s=channel.decay_s,
        t60_s=partials.mean_t60_s(channel.partials) if channel.partials else None,
        edt_s=channel.decays.edt_s,
        t20_s=channel.decays.t20_s,
        t30_s=channel.decays.t30_s,
        flags=channel.flags,
    )


def averaged(found: Sequence[Measures]) -> Measures:
    """Measures of several channels as one: levels by energy, all else the mean; None where one has none."""
    values: dict[str, Any] = {}
    for name in (f.name for f in fields(Measures) if f.name != "flags"):
        each = [getattr(one, name) for one in found]
        known = [v for v in each if v is not None]
        values[name] = average(known, name) if len(known) == len(each) else None
    flags_ = tuple(dict.fromkeys(flag for one in found for flag in one.flags))
    return Measures(**values, flags=flags_)


def average(values: Sequence[float], name: str) -> float:
    """Mean of one measure over channels: of the energies where its name ends in a level's unit."""
    array = np.asarray(values, dtype=np.float64)
    if name.endswith(LEVEL_UNITS):
        return float(10.0 * np.log10(np.mean(10.0 ** (array / 10.0))))
    return float(array.mean())


def examine(sound: Sound, *, fades_from_s: float | None = None) -> Channel:
    """Everything about a one-channel sound; `fades_from_s` as in `measure`."""
    start = onset.find(sound)
    ringing = _recorded(sound if fades_from_s is None else sound.part(0.0, fades_from_s), start.time_s)
    course = loudness.course(sound, onset_s=start.time_s) if sound.calibrated else None
    return Channel(
        onset=start,
        levels=level.measure(sound),
        course=course,
        sharpness_acum=_or_none(lambda: sharpness.brightness_acum(course, start.time_s)) if course else None,
        centroid_hz=_or_none(lambda: spectrum.centroid_hz(sound)),
        decays=decay.measure(ringing, start.time_s),
        partials=partials.find(ringing, onset_s=start.time_s),
        rings_out=strike.rings_out(sound, start.time_s),
        flags=flags.find(sound, start),
        fades_from_s=fades_from_s,
    )


def _recorded(sound: Sound, onset_s: float) -> Sound:
    """Without silence that was put behind a short take, and the fade into it: neither is ringing."""
    end = sound.sounding_samples() or sound.n_samples
    until_s = end / sound.rate_hz - ringing_end.PADDED_FADE_S
    is_padded = sound.n_samples - end >= ringing_end.PADDED_FADE_S * sound.rate_hz
    return sound.part(0.0, until_s) if is_padded and until_s > onset_s + ringing_end.PADDED_FADE_S else sound


def _or_none(measure: Callable[[], float]) -> float | None:
    """None for what the sound does not have: too soft to be heard has no colour, DC no centroid."""
    try:
        return measure()
    except SoundError:
        return None
