"""The partials of a ringing sound: frequency, level at the onset, T60, each with its standard error."""

from dataclasses import dataclass

import numpy as np

from listening.audio.sound import Sound
from listening.metrics import onset
from listening.metrics.level import check_not_silent
from listening.metrics.mode_search import Found, search
from listening.metrics.modes import LN_1000

MOST_PARTIALS = 12
WEAKEST_DB = -60.0  # re the strongest, at the onset
SAME_FREQUENCY_ERRORS = 4.0  # standard errors within which two modes count as one frequency
SNR_BANDWIDTH_HZ = 20_000.0


@dataclass(frozen=True)
class Partial:
    """One decaying oscillation."""

    frequency_hz: float
    frequency_se_hz: float
    level_db: float
    """rms level at the onset, dB re 20 µPa or re full scale"""
    t60_s: float
    t60_se_s: float
    snr_db: float
    """level at the onset over the noise around the partial, as if that noise filled 20 kHz"""
    beating: tuple[float, ...]
    """Hz, other modes close enough to beat with this one"""
    two_stage: tuple[float, ...]
    """T60 in s of other modes at the same frequency: the decay bends"""
    phase_rad: float
    """of the cosine, at the onset"""
    doubts: tuple[str, ...] = ()
    """what makes its T60 not known, in words; empty when the model holds"""

    @property
    def quality(self) -> float:
        """Q = pi f T60 / ln 1000."""
        return float(np.pi * self.frequency_hz * self.t60_s / LN_1000)

    @property
    def damping_ratio(self) -> float:
        """Share of critical damping, 1 / (2 Q)."""
        return 0.5 / self.quality

    @property
    def beat_rates_hz(self) -> tuple[float, ...]:
        return tuple(abs(f - self.frequency_hz) for f in self.beating)


def find(sound: Sound, *, onset_s: float | None = None, most: int = MOST_PARTIALS) -> tuple[Partial, ...]:
    """Partials of the loudest strike of a one-channel sound, loudest at the onset first.

    Standard errors come from the noise that the fit leaves and assume it is even within +-50 Hz.
    `onset_s` is the strike's start where it is known already.

    Raises
    ------
    SoundError
        Several channels or silence.
    """
    check_not_silent(sound)
    start_s = onset.find(sound).time_s if onset_s is None else onset_s
    groups = search(sound.only_channel(), sound.rate_hz, start_s, most=most)
    partials = sorted((p for g in groups for p in _described(g, sound)), key=lambda p: -p.level_db)
    return tuple(p for p in partials if p.level_db > partials[0].level_db + WEAKEST_DB)


def mean_t60_s(partials: tuple[Partial, ...], within_db: float = 20.0) -> float | None:
    """T60 averaged over the partials within `within_db` of the loudest, weighted with their power."""
    loud = [p for p in partials if p.level_db > partials[0].level_db - within_db]
    if not loud:
        return None
    weights = np.array([10.0 ** (p.level_db / 10.0) for p in loud])
    return float((weights * [p.t60_s for p in loud]).sum() / weights.sum())


def inharmonicity(partials: tuple[Partial, ...]) -> tuple[float, ...]:
    """Frequency of each partial over that of the lowest, in order of frequency: 1, then the ratios."""
    frequencies = sorted(p.frequency_hz for p in partials)
    return tuple(f / frequencies[0] for f in frequencies)


def _described(group: Found, sound: Sound) -> list[Partial]:
    m = group.fit.modes
    t60_s = LN_1000 / m.decay_per_s
    at_onset = m.amplitude * np.exp((m.decay_per_s - 2j * np.pi * m.frequency_hz) * group.lead_s)
    rms = np.sqrt(2.0) * np.abs(at_onset)
    noise_rms = np.sqrt(group.noise_density * SNR_BANDWIDTH_HZ)
    same = [_same_frequency(group, i) for i in range(len(m))]
    return [
        Partial(
            frequency_hz=float(m.frequency_hz[i]),
            frequency_se_hz=float(group.fit.frequency_se_hz[i]),
            level_db=float(20 * np.log10(rms[i] / sound.reference)),
            t60_s=float(t60_s[i]),
            t60_se_s=float(t60_s[i] * group.fit.relative_decay_se[i]),
            snr_db=float(20 * np.log10(rms[i] / max(noise_rms, 1e-300))),
            beating=tuple(float(f) for f in np.sort(m.frequency_hz[~same[i]])),
            two_stage=tuple(float(t) for j, t in enumerate(t60_s) if same[i][j] and j != i),
            phase_rad=float(np.angle(at_onset[i])),
        )
        for i in range(len(m))
    ]


def _same_frequency(group: Found, index: int) -> np.ndarray:
    apart = np.abs(group.fit.modes.frequency_hz - group.fit.modes.frequency_hz[index])
    error = np.hypot(group.fit.frequency_se_hz, group.fit.frequency_se_hz[index])
    same = apart < SAME_FREQUENCY_ERRORS * error
    same[index] = True
    return np.asarray(same)
