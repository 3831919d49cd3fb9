"""The partials of a ringing sound: frequency, level at the onset, T60, each with its standard error."""

from dataclasses import dataclass, replace

import numpy as np

from listening.audio.sound import Sound
from listening.metrics.level import check_not_silent
from listening.metrics.ringing import partial_doubts
from listening.metrics.ringing.mode_search import Found, search
from listening.metrics.ringing.mode_trust import Trust
from listening.metrics.ringing.modes import LN_1000, Modes
from listening.metrics.ringing.partial_doubts import Doubt
from listening.metrics.striking import onset, ringing_part

MOST_PARTIALS = 60
LEAST_EXPLAINED = 1.0  # of the energy around a partial: with more unexplained there is none
LARGEST_RELATIVE_SE = 10.0  # beyond, nothing is known of T60 but its order
UNSEEN_ERRORS = 3.0  # standard errors of a departure that would have been seen
LARGEST_DEPTH_DB = 60.0  # of a beat: two that are equal cancel
WEAKEST_DB = -60.0  # re the strongest, at the onset
STRONG_DB = -30.0  # re the strongest: weaker ones say nothing about the others
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
    """from the noise, and from what a model of one more order, a later start and a shorter stretch change"""
    t60_noise_se_s: float
    """from the noise alone, as if the model were true"""
    snr_db: float
    """level at the onset over the noise around the partial, as if that noise filled 20 kHz"""
    beating: tuple[float, ...]
    """Hz, other modes close enough to beat with this one"""
    beat_depths_db: tuple[float, ...]
    """from trough to summit of the beat with each of them, at the onset; at most 60"""
    two_stage: tuple[float, ...]
    """T60 in s of other modes at the same frequency: the decay bends"""
    phase_rad: float
    """of the cosine, at the onset"""
    doubts: tuple[Doubt, ...] = ()
    """what makes its T60 not known, in words; empty when the model holds"""
    unseen_split_hz: float = 0.0
    """a second mode as strong, closer than this, would not have been seen; about 0.3 / T60 at 40 dB"""
    unexplained_share: float = 0.0
    """of the energy within 12 Hz, beyond the noise, that no mode explains"""

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

    Order: a mode more is taken where the Bayesian information criterion says so three times over (Schwarz
    1978). Two modes closer than `unseen_split_hz` are one partial; where what is left shows it, the partial's
    `doubts` say so, as they do for gains and pitches that move. The standard errors take the noise to be even
    within ±50 Hz and add what another order, start and stretch change. `onset_s` is the strike's start where
    it is known already.

    Raises
    ------
    SoundError
        Several channels or silence.
    """
    check_not_silent(sound)
    start_s = onset.find(sound).time_s if onset_s is None else onset_s
    sound, start_s = ringing_part.of(sound, start_s)
    groups = search(sound.only_channel(), sound.rate_hz, start_s, most=most)
    partials = sorted((p for g in groups for p in _described(g, sound)), key=lambda p: -p.level_db)
    partials = [p for p in partials if p.unexplained_share < LEAST_EXPLAINED]
    kept = [p for p in partials if p.level_db > partials[0].level_db + WEAKEST_DB]
    strong = [p for p in kept if p.level_db > kept[0].level_db + STRONG_DB]
    common = _common_doubts(groups) + partial_doubts.among(sum(bool(p.doubts) for p in strong), len(strong))
    if len(partials) >= most:
        common += (partial_doubts.doubt(partial_doubts.CAPPED, most),)
    return tuple(replace(p, doubts=(*p.doubts, *common)) for p in kept)


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
            t60_se_s=float(t60_s[i] * _relative_se(group, i)),
            t60_noise_se_s=float(t60_s[i] * group.fit.relative_decay_se[i]),
            snr_db=float(20 * np.log10(rms[i] / max(noise_rms, 1e-300))),
            beating=tuple(float(m.frequency_hz[j]) for j in _others(m, same[i])),
            beat_depths_db=tuple(beat_depth_db(rms[i], rms[j]) for j in _others(m, same[i])),
            two_stage=tuple(float(t) for j, t in enumerate(t60_s) if same[i][j] and j != i),
            phase_rad=float(np.angle(at_onset[i])),
            doubts=partial_doubts.of_mode(
                group.trust[i], float(m.decay_per_s[i]), model_spread=_model_spread(group.trust[i])
            ),
            unseen_split_hz=_unseen_split_hz(group.trust[i]),
            unexplained_share=group.trust[i].unexplained_share,
        )
        for i in range(len(m))
    ]


def _others(m: Modes, same: np.ndarray) -> list[int]:
    """Places of the modes at other frequencies, lowest first."""
    return [int(j) for j in np.argsort(m.frequency_hz, kind="stable") if not same[j]]


def beat_depth_db(one: float, other: float) -> float:
    """Level of the summit of two beating oscillations over that of the trough, at most 60 dB."""
    summit, trough = one + other, abs(one - other)
    return float(min(LARGEST_DEPTH_DB, 20.0 * np.log10(summit / max(trough, 1e-300))))


def _relative_se(group: Found, i: int) -> float:
    """Standard error of ln T60: noise, order of the model, and start and length of the stretch."""
    total = np.hypot(group.fit.relative_decay_se[i], _model_spread(group.trust[i]))
    return float(min(total, LARGEST_RELATIVE_SE))


def _model_spread(trust: Trust) -> float:
    """The part of order, start and length of the stretch."""
    stretch = max(0.0, trust.moved**2 - trust.moved_se**2) if np.isfinite(trust.moved_se) else 0.0
    return float(np.sqrt(trust.departure.decay_shift**2 + stretch))


def _unseen_split_hz(trust: Trust) -> float:
    found = trust.departure
    return partial_doubts.split_hz(abs(found.curvature) + UNSEEN_ERRORS * found.curvature_se)


def _common_doubts(groups: list[Found]) -> tuple[Doubt, ...]:
    rows = []
    for group in groups:
        for i in range(len(group.fit.modes)):
            decay, hz = float(group.fit.modes.decay_per_s[i]), float(group.fit.modes.frequency_hz[i])
            rows.append((group.trust[i], decay, hz, bool(_same_frequency(group, i).sum() > 1)))
    return partial_doubts.of_all(rows)


def _same_frequency(group: Found, index: int) -> np.ndarray:
    apart = np.abs(group.fit.modes.frequency_hz - group.fit.modes.frequency_hz[index])
    error = np.hypot(group.fit.frequency_se_hz, group.fit.frequency_se_hz[index])
    same = apart < SAME_FREQUENCY_ERRORS * error
    same[index] = True
    return np.asarray(same)
