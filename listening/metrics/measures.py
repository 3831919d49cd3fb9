"""Everything a study stores about a sound: one frozen result with stable keys."""

from dataclasses import asdict, dataclass

from listening.audio.sound import Sound
from listening.metrics import level, loudness_bs1770, partials, spectrum


@dataclass(frozen=True)
class Measures:
    """Numbers of one sound; None where the sound cannot have the value.

    Levels are dB re 20 µPa, or dB re full scale when the sound is not calibrated; then the sone, phon and
    acum values are None.
    """

    laf_max_db: float
    lae_db: float
    lc_peak_db: float
    momentary_max_lufs: float
    integrated_lufs: float | None
    true_peak_dbtp: float
    nmax_sone: float | None
    loudness_level_phon: float | None
    sharpness_acum: float | None
    """the study's brightness: loudness-weighted mean over 0 to 300 ms after the onset"""
    centroid_hz: float
    decay_s: float | None
    """the study's decay: time for N(t) to fall from its maximum to 10 %"""
    t60_s: float | None
    """of the strongest partials, weighted with their power"""
    edt_s: float | None
    t20_s: float | None
    t30_s: float | None

    def as_dict(self) -> dict[str, float | None]:
        return asdict(self)


def measure(sound: Sound) -> Measures:
    """All measures of a sound; of several channels, the one with the largest LAFmax.

    The LUFS and dBTP values are of all channels together, as BS.1770 has it.

    Raises
    ------
    SoundError
        Nothing but zeros.
    """
    channel = loudest_channel(sound)
    levels = level.measure(channel)
    programme = loudness_bs1770.measure(sound)
    found = partials.find(channel)
    return Measures(
        laf_max_db=levels.laf_max_db,
        lae_db=levels.lae_db,
        lc_peak_db=levels.lc_peak_db,
        momentary_max_lufs=programme.momentary_max_lufs,
        integrated_lufs=programme.integrated_lufs,
        true_peak_dbtp=programme.true_peak_dbtp,
        nmax_sone=None,
        loudness_level_phon=None,
        sharpness_acum=None,
        centroid_hz=spectrum.centroid_hz(channel),
        decay_s=None,
        t60_s=partials.mean_t60_s(found) if found else None,
        edt_s=None,
        t20_s=None,
        t30_s=None,
    )


def loudest_channel(sound: Sound) -> Sound:
    """The channel with the largest LAFmax."""
    level.check_not_silent(sound)
    channels = [sound.channel(c) for c in range(sound.n_channels)]
    heard = [c for c in channels if c.samples.any()]
    return heard[0] if len(heard) == 1 else max(heard, key=level.laf_max_db)
