"""The partials of a ringing sound: frequency, level at the onset, T60, each with its standard error.

Partials are taken out of the spectrum one by one, strongest first; modes closer together than a few line
widths are fitted together, so that a beating pair or a two-stage decay shows as two modes and is never
averaged into one.
"""

from dataclasses import dataclass

import numpy as np
from scipy import fft

from listening.audio.sound import FloatArray, Sound
from listening.metrics import esprit, modes, onset
from listening.metrics.level import check_not_silent
from listening.metrics.modes import LN_1000, Fit, Frame, Modes

LOWEST_HZ, HIGHEST_HZ = 100.0, 20_000.0
MOST_PARTIALS = 12
MOST_MODES_TOGETHER = 3
SETTLING_S = 0.005  # after the strike's loudest millisecond: the contact itself is no ringing
SHORTEST_RING_S = 0.3  # less recording than this holds no T60 worth the name
HALF_BAND_HZ = 50.0
TOGETHER_HZ = 12.0  # modes closer than this share a band and a fit
DETECTION_RATIO = 40.0  # over the local median power: one false bin in 40 million of noise
WEAKEST_DB = -60.0  # re the strongest, amplitude at the onset
WEAKEST_COMPANION_DB = -40.0  # re the strongest of its group
SHORTEST_T60_S = 0.03
LONGEST_T60_S = 100.0
LARGEST_RELATIVE_SE = 0.5  # a T60 less certain than this is no finding
SAME_FREQUENCY_ERRORS = 4.0  # standard errors within which two modes count as one frequency
SNR_BANDWIDTH_HZ = 20_000.0
FLOOR_HZ = 200.0  # width of the local noise floor
PENALTY_PER_MODE = 4.0  # parameters, in the Bayesian information criterion


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

    @property
    def quality(self) -> float:
        """Q = pi f T60 / ln 1000."""
        return float(np.pi * self.frequency_hz * self.t60_s / LN_1000)

    @property
    def damping_ratio(self) -> float:
        return 0.5 / self.quality


def find(sound: Sound, *, most: int = MOST_PARTIALS) -> tuple[Partial, ...]:
    """Partials of the loudest strike of a one-channel sound, loudest at the onset first.

    Standard errors come from the noise that the fit leaves and assume it is even within +-50 Hz.

    Raises
    ------
    SoundError
        Several channels or silence.
    """
    check_not_silent(sound)
    start = onset.find(sound)
    ring = _Ring.after(sound, start.time_s)
    return _described(ring, _fitted(ring, most), sound)


def mean_t60_s(partials: tuple[Partial, ...], within_db: float = 20.0) -> float | None:
    """T60 averaged over the partials within `within_db` of the loudest, weighted with their power."""
    loud = [p for p in partials if p.level_db > partials[0].level_db - within_db]
    if not loud:
        return None
    weights = np.array([10.0 ** (p.level_db / 10.0) for p in loud])
    return float((weights * [p.t60_s for p in loud]).sum() / weights.sum())


@dataclass(eq=False)
class _Ring:
    """Spectrum of what rings on after the contact."""

    spectrum: np.ndarray
    frame: Frame
    bin_hz: FloatArray
    lead_s: float
    """from the onset to the first sample used"""

    @staticmethod
    def after(sound: Sound, onset_s: float) -> "_Ring | None":
        samples = sound.only_channel()
        start = _settled(samples, onset_s, sound.rate_hz)
        n = fft.prev_fast_len(max(2, len(samples) - start), real=True)
        if n < SHORTEST_RING_S * sound.rate_hz:
            return None
        frame = Frame(n, sound.rate_hz)
        spectrum = fft.rfft(samples[start : start + n])
        return _Ring(spectrum, frame, frame.bin_hz(np.arange(len(spectrum))), start / sound.rate_hz - onset_s)

    def band(self, low_hz: float, high_hz: float) -> slice:
        edges = np.clip([low_hz, high_hz], LOWEST_HZ / 2, 0.499 * self.frame.rate_hz)
        low, high = np.round(edges * self.frame.n_samples / self.frame.rate_hz).astype(int)
        return slice(int(low), int(high) + 1)


def _settled(samples: FloatArray, onset_s: float, rate_hz: int) -> int:
    start = round(onset_s * rate_hz)
    frame = max(1, rate_hz // 1000)
    first = onset.envelope(samples[start : start + round(0.03 * rate_hz)], frame)
    return start + int(np.argmax(first)) * frame + round(SETTLING_S * rate_hz)


def _fitted(ring: "_Ring | None", most: int) -> list[Fit]:
    if ring is None:
        return []
    groups: list[Fit] = []
    residual, closed = ring.spectrum.copy(), np.zeros(len(ring.spectrum), dtype=bool)
    searched = (ring.bin_hz < LOWEST_HZ) | (ring.bin_hz > min(HIGHEST_HZ, 0.45 * ring.frame.rate_hz))
    closed |= searched
    for _ in range(3 * most):
        peak_hz = _next_peak(ring, residual, closed)
        if peak_hz is None or sum(len(g.modes) for g in groups) >= most:
            break
        groups = _with_peak(ring, groups, residual, peak_hz, closed)
        residual = ring.spectrum - modes.spectrum(_all(groups), ring.bin_hz, ring.frame)
    return _polished(ring, groups)


def _all(groups: list[Fit]) -> Modes:
    return Modes.joined([g.modes for g in groups])


def _next_peak(ring: _Ring, residual: np.ndarray, closed: np.ndarray) -> float | None:
    power = np.abs(residual) ** 2
    candidates = np.where(closed, 0.0, power)
    candidates[power < DETECTION_RATIO * _floor(power, ring)] = 0.0
    best = int(np.argmax(candidates))
    return float(ring.bin_hz[best]) if candidates[best] > 0 else None


def _floor(power: FloatArray, ring: _Ring) -> FloatArray:
    """(k,) median power over stretches of FLOOR_HZ, held within each stretch."""
    width = max(8, round(FLOOR_HZ * ring.frame.n_samples / ring.frame.rate_hz))
    n_whole = max(1, len(power) // width)
    medians = np.median(np.resize(power, n_whole * width).reshape(n_whole, width), axis=1)
    index = np.minimum(np.arange(len(power)) // width, n_whole - 1)
    return np.asarray(medians[index])


def _with_peak(
    ring: _Ring, groups: list[Fit], residual: np.ndarray, peak_hz: float, closed: np.ndarray
) -> list[Fit]:
    near = [i for i, g in enumerate(groups) if np.abs(g.modes.frequency_hz - peak_hz).min() < TOGETHER_HZ]
    members = [groups[i] for i in near]
    others = [g for i, g in enumerate(groups) if i not in near]
    together = Modes.joined([g.modes for g in members])
    better = _grown(ring, together, residual, peak_hz) if len(together) < MOST_MODES_TOGETHER else None
    if better is None or (members and not _worth_it(members, better)):
        width = max(0.5, 0.2 * TOGETHER_HZ) if not members else TOGETHER_HZ
        closed |= np.abs(ring.bin_hz - peak_hz) < width
        return groups
    return [*others, better]


def _grown(ring: _Ring, together: Modes, residual: np.ndarray, peak_hz: float) -> Fit | None:
    """The best fit with one more mode than `together`."""
    centre = np.append(together.frequency_hz, peak_hz)
    band = ring.band(centre.min() - HALF_BAND_HZ, centre.max() + HALF_BAND_HZ)
    bin_hz = ring.bin_hz[band]
    target = residual[band] + modes.spectrum(together, bin_hz, ring.frame)
    fits = []
    for decay, frequency in _starts(ring, together, target, bin_hz, peak_hz):
        start = modes.with_amplitudes(decay, frequency, target, bin_hz=bin_hz, frame=ring.frame)
        fits.append(modes.fit(start, target, bin_hz=bin_hz, frame=ring.frame))
    sound_fits = [f for f in fits if _credible(f, bin_hz)]
    return min(sound_fits, key=lambda f: f.noise_power) if sound_fits else None


def _starts(
    ring: _Ring, together: Modes, target: np.ndarray, bin_hz: FloatArray, peak_hz: float
) -> list[tuple[FloatArray, FloatArray]]:
    order = len(together) + 1
    baseband = fft.ifft(target)
    rate_hz = len(target) * ring.frame.rate_hz / ring.frame.n_samples
    decay, offset = esprit.decays_and_offsets(
        baseband[4 : len(baseband) - len(baseband) // 10], rate_hz, order
    )
    frequency = bin_hz[0] + np.mod(offset, rate_hz)
    inside = np.clip(decay, LN_1000 / LONGEST_T60_S, LN_1000 / SHORTEST_T60_S)
    starts = [(inside, frequency)]
    factors = (0.2, 4.0) if len(together) else (1.0,)
    for factor in factors:
        guess = float(np.median(together.decay_per_s)) if len(together) else 4.0
        starts.append(
            (np.append(together.decay_per_s, factor * guess), np.append(together.frequency_hz, peak_hz))
        )
    return starts


def _credible(fit: Fit, bin_hz: FloatArray) -> bool:
    t60_s = LN_1000 / fit.modes.decay_per_s
    amplitude_db = 20 * np.log10(np.abs(fit.modes.amplitude) + 1e-300)
    return bool(
        (t60_s > SHORTEST_T60_S).all()
        and (t60_s < LONGEST_T60_S).all()
        and (fit.relative_decay_se < LARGEST_RELATIVE_SE).all()
        and (fit.modes.frequency_hz > bin_hz[0]).all()
        and (fit.modes.frequency_hz < bin_hz[-1]).all()
        and (amplitude_db > amplitude_db.max() + WEAKEST_COMPANION_DB).all()
    )


def _worth_it(before: list[Fit], after: Fit) -> bool:
    n_values = 2.0 * after.n_bins
    noise_before = sum(f.noise_power * f.n_bins for f in before) / sum(f.n_bins for f in before)
    gain = n_values * np.log(noise_before / after.noise_power)
    return bool(gain > 3.0 * PENALTY_PER_MODE * np.log(n_values))


def _polished(ring: _Ring, groups: list[Fit]) -> list[Fit]:
    """Each group fitted again with the others taken out, twice: their skirts reach into each other."""
    for _ in range(2):
        for i, group in enumerate(groups):
            centre = group.modes.frequency_hz
            band = ring.band(centre.min() - HALF_BAND_HZ, centre.max() + HALF_BAND_HZ)
            bin_hz = ring.bin_hz[band]
            rest = _all([g for j, g in enumerate(groups) if j != i])
            target = ring.spectrum[band] - modes.spectrum(rest, bin_hz, ring.frame)
            groups = [*groups]
            groups[i] = modes.fit(group.modes, target, bin_hz=bin_hz, frame=ring.frame)
    return groups


def _described(ring: "_Ring | None", groups: list[Fit], sound: Sound) -> tuple[Partial, ...]:
    if ring is None:
        return ()
    found = [p for g in groups for p in _group_partials(ring, g, sound)]
    found.sort(key=lambda p: -p.level_db)
    return tuple(p for p in found if p.level_db > found[0].level_db + WEAKEST_DB)


def _group_partials(ring: _Ring, group: Fit, sound: Sound) -> list[Partial]:
    m = group.modes
    t60_s = LN_1000 / m.decay_per_s
    rms = np.sqrt(2.0) * np.abs(m.amplitude) * np.exp(m.decay_per_s * ring.lead_s)
    noise_rms = np.sqrt(_noise_density(ring, group) * SNR_BANDWIDTH_HZ)
    made = []
    for i in range(len(m)):
        same = _same_frequency(group, i)
        made.append(
            Partial(
                frequency_hz=float(m.frequency_hz[i]),
                frequency_se_hz=float(group.frequency_se_hz[i]),
                level_db=float(20 * np.log10(rms[i] / sound.reference)),
                t60_s=float(t60_s[i]),
                t60_se_s=float(t60_s[i] * group.relative_decay_se[i]),
                snr_db=float(20 * np.log10(rms[i] / max(noise_rms, 1e-300))),
                beating=tuple(float(f) for f in np.sort(m.frequency_hz[~same])),
                two_stage=tuple(float(t) for j, t in enumerate(t60_s) if same[j] and j != i),
            )
        )
    return made


def _same_frequency(group: Fit, index: int) -> np.ndarray:
    apart = np.abs(group.modes.frequency_hz - group.modes.frequency_hz[index])
    error = np.hypot(group.frequency_se_hz, group.frequency_se_hz[index])
    same = apart < SAME_FREQUENCY_ERRORS * error
    same[index] = True
    return np.asarray(same)


def _noise_density(ring: _Ring, group: Fit) -> float:
    """Mean square pressure per Hz."""
    return 2.0 * group.noise_power / (ring.frame.n_samples * ring.frame.rate_hz)
