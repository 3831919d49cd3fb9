"""Finding modes in the spectrum of a ringing sound, strongest first.

Modes closer together than TOGETHER_HZ are fitted together, so that a beating pair or a two-stage decay shows
as two modes and is never averaged into one. Right after the contact a real strike is not yet a sum of modes:
where the fit leaves more than the recording's noise, that band is fitted again from a later moment.
"""

import math
from contextlib import AbstractContextManager
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy import fft
from threadpoolctl import ThreadpoolController

from listening.audio.sound import FloatArray
from listening.metrics.ringing import esprit, mode_trust, modes
from listening.metrics.ringing.mode_ring import LOWEST_HZ, Ring
from listening.metrics.ringing.mode_trust import Trust
from listening.metrics.ringing.modes import LN_1000, Fit, Frame, Modes
from listening.metrics.striking import onset

HIGHEST_HZ = 20_000.0
LEADS_S = (0.005, 0.03, 0.1)  # after the loudest millisecond: the contact itself is no ringing
HALF_BAND_HZ = 50.0
TOGETHER_HZ = 12.0  # modes closer than this share a band and a fit
CLOSED_HZ = 2.5  # around a peak that no mode explains
MOST_MODES_TOGETHER = 3
DETECTION_RATIO = 40.0  # over the local median power: one false bin in 10^12 of noise
CORRECTION_HZ = 2000.0
FLOOR_HZ = 200.0  # stretch of the local noise floor
WEAKEST_DB = -70.0  # a peak weaker than this re the strongest is not looked at
WEAKEST_COMPANION_DB = -40.0  # re the strongest of its group
SHORTEST_T60_S, LONGEST_T60_S = 0.03, 100.0
LARGEST_RELATIVE_SE = 0.5  # a T60 less certain than this is no finding
LARGEST_EXTRAPOLATION_DB = 12.0  # from the first sample used back to the onset
PARAMETERS_PER_MODE = 4
EVIDENCE = 3.0  # times the Bayesian information criterion's penalty, before a companion is believed
CANCELLING_APART = 1.0  # of their mean decay: closer poles are not two modes if they cancel
CANCELLING_SHARE = 0.5  # of the stronger amplitude, that two such modes leave
FIRST_STEPS, LAST_STEPS = 25, 60
# a band is fitted again later when what the fit leaves is above both
UNEXPLAINED_SHARE = 1e-4  # of the energy
UNEXPLAINED_RATIO = 4.0  # over the noise at the end of the recording


@dataclass(frozen=True, eq=False)
class Found:
    """Modes fitted together, from `lead_s` after the onset."""

    fit: Fit
    lead_s: float
    noise_density: float
    """mean square pressure per Hz around the modes"""
    trust: tuple[Trust, ...] = ()
    """how far each mode is to be believed"""


def search(samples: FloatArray, rate_hz: int, onset_s: float, *, most: int) -> list[Found]:
    """Groups of at most `most` modes in all; none when less than 0.3 s ring after the onset.

    Linear algebra runs in one thread meanwhile: these systems are tiny, and threads that contend for them
    cost a hundred times what they save.
    """
    with one_thread():
        return _searched(samples, rate_hz, onset_s, most=most)


def one_thread() -> AbstractContextManager[object]:
    """Linear algebra in one thread, while it lasts."""
    limited: AbstractContextManager[object] = _threads().limit(limits=1, user_api="blas")
    return limited


@cache
def _threads() -> ThreadpoolController:
    return ThreadpoolController()


def _searched(samples: FloatArray, rate_hz: int, onset_s: float, *, most: int) -> list[Found]:
    settled = loudest_moment(samples, onset_s, rate_hz)
    found: list[Found] = []
    allowed: list[tuple[float, float]] | None = None
    for lead_s in LEADS_S:
        start = settled + round(lead_s * rate_hz)
        ring = Ring.of(samples[start:], rate_hz)
        if ring is None:
            break
        from_onset_s = start / rate_hz - onset_s
        known = Modes.joined([modes.advanced(f.fit.modes, from_onset_s - f.lead_s) for f in found])
        bands = _Bands(ring, known, allowed)
        bands.run(most - len(known))
        unclean = [g for g in bands.groups if _rings_on(g, lead_s) and not bands.clean(g)]
        kept = [g for g in bands.groups if not any(g is u for u in unclean)]
        trusted = mode_trust.of_groups(kept, samples[start:], ring, residual=bands.residual, known=known)
        found += [_found(g, ring, from_onset_s, t) for g, t in zip(kept, trusted, strict=True)]
        if not unclean:
            break
        allowed = [_span(g.modes.frequency_hz, TOGETHER_HZ) for g in unclean]
    return [f for f in (_measurable(f) for f in found) if len(f.fit.modes)]


class _Bands:
    """Groups of modes found so far in a ring, and what they leave of its spectrum."""

    def __init__(self, ring: Ring, known: Modes, allowed: list[tuple[float, float]] | None) -> None:
        self.ring = ring
        self.groups: list[Fit] = []
        self.residual = ring.spectrum.copy()
        modes.add(self.residual, known, -1.0, bin_hz=ring.bin_hz, frame=ring.frame)
        self.closed = _closed(ring, allowed)
        self.weakest = np.abs(ring.spectrum[~self.closed]).max(initial=0.0) ** 2 * 10 ** (WEAKEST_DB / 10)
        self.fresh: list[Fit] = []

    def run(self, most: int) -> None:
        for _ in range(3 * max(most, 0)):
            peak_hz = self._next_peak_hz()
            if peak_hz is None or sum(len(g.modes) for g in self.groups) >= most:
                break
            stale = [g for g in self._near(peak_hz) if not any(g is f for f in self.fresh)]
            if stale:
                self._refresh(stale)  # what is left near a partial may be its neighbours' skirts
            else:
                self._take(peak_hz)
        for _ in range(2):
            self._refresh(list(self.groups), max_steps=LAST_STEPS)
        self._prune()
        self._refuse()

    def clean(self, group: Fit) -> bool:
        """Whether the modes explain their band down to the noise at the end of the recording."""
        low, high = _span(group.modes.frequency_hz, TOGETHER_HZ)
        band = self.ring.band(low, high)
        left = np.abs(self.residual[band]) ** 2
        explained = np.abs(modes.spectrum(group.modes, self.ring.bin_hz[band], self.ring.frame)) ** 2
        noise = self.ring.late_noise(*_span(group.modes.frequency_hz, FLOOR_HZ / 2))
        return not (
            left.mean() > UNEXPLAINED_RATIO * noise and left.sum() > UNEXPLAINED_SHARE * explained.sum()
        )

    def _next_peak_hz(self) -> float | None:
        power = np.abs(self.residual) ** 2
        candidates = np.where(self.closed | (power < self.weakest), 0.0, power)
        best = int(np.argmax(candidates))
        while candidates[best] > 0:
            stretch, floor = _floor(power, best, self.ring)
            least = DETECTION_RATIO * floor
            if candidates[best] >= least:
                return float(self.ring.bin_hz[best])
            candidates[stretch][power[stretch] < least] = 0.0
            best = int(np.argmax(candidates))
        return None

    def _near(self, peak_hz: float) -> list[Fit]:
        return [g for g in self.groups if np.abs(g.modes.frequency_hz - peak_hz).min() < TOGETHER_HZ]

    def _take(self, peak_hz: float) -> None:
        """Explain the peak by a mode, alone or together with those near it, or close its neighbourhood."""
        members = self._near(peak_hz)
        together = Modes.joined([g.modes for g in members])
        better = self._grown(together, peak_hz) if len(together) < MOST_MODES_TOGETHER else None
        if better is None or (members and not _worth_it(members, better)):
            centre = together.frequency_hz if members else np.array([peak_hz])
            low, high = _span(centre, TOGETHER_HZ if members else CLOSED_HZ)
            self.closed |= (self.ring.bin_hz > low) & (self.ring.bin_hz < high)
            return
        self._replace(members, [better])
        self.fresh = []

    def _replace(self, old: list[Fit], new: list[Fit]) -> None:
        self.groups = [g for g in self.groups if not any(g is o for o in old)] + new
        # a correction of a mode is too small to matter far away
        centre = np.concatenate([f.modes.frequency_hz for f in (new or old)])
        where = self.ring.band(*_span(centre, CORRECTION_HZ)) if old else slice(None)
        for fits, sign in ((old, 1.0), (new, -1.0)):
            together = Modes.joined([f.modes for f in fits])
            modes.add(
                self.residual[where], together, sign, bin_hz=self.ring.bin_hz[where], frame=self.ring.frame
            )

    def _refresh(self, groups: list[Fit], *, max_steps: int = FIRST_STEPS) -> None:
        """Fit the groups again, each with all others taken out: their skirts reach into each other."""
        for group in groups:
            better = self._refit(group.modes, group.modes, max_steps=max_steps)
            self._replace([group], [better])
            self.fresh.append(better)

    def _prune(self) -> None:
        """Drop modes that are not needed once all the others stand."""
        for group in list(self.groups):
            for i in range(len(group.modes) if len(group.modes) > 1 else 0):
                simpler = self._refit(group.modes.subset(np.arange(len(group.modes)) != i), group.modes)
                if not _worth_it([simpler], group):
                    self._replace([group], [simpler])
                    break

    def _refuse(self) -> None:
        """Drop, now that all else stands, modes that cancel each other or that nothing rings as."""
        for group in list(self.groups):
            kept = group
            while len(kept.modes) and (bad := _incredible(kept)) is not None:
                without = np.arange(len(kept.modes)) != bad
                kept = self._refit(kept.modes.subset(without), group.modes) if without.any() else _none(kept)
            if kept is not group:
                self._replace([group], [kept] if len(kept.modes) else [])

    def _refit(self, start: Modes, present: Modes, *, max_steps: int = FIRST_STEPS) -> Fit:
        band, bin_hz = self._band(present.frequency_hz)
        target = self.residual[band] + modes.spectrum(present, bin_hz, self.ring.frame)
        return modes.fit(start, target, bin_hz=bin_hz, frame=self.ring.frame, max_steps=max_steps)

    def _band(self, centre_hz: FloatArray) -> tuple[slice, FloatArray]:
        band = self.ring.band(*_span(centre_hz, HALF_BAND_HZ))
        return band, self.ring.bin_hz[band]

    def _grown(self, together: Modes, peak_hz: float) -> Fit | None:
        """The best fit with one more mode than `together`."""
        band, bin_hz = self._band(np.append(together.frequency_hz, peak_hz))
        frame = self.ring.frame
        target = self.residual[band] + modes.spectrum(together, bin_hz, frame)
        fits = []
        for decay, frequency in _starts(frame, together, target, bin_hz, peak_hz):
            start = modes.with_amplitudes(decay, frequency, target, bin_hz=bin_hz, frame=frame)
            fits.append(modes.fit(start, target, bin_hz=bin_hz, frame=frame, max_steps=FIRST_STEPS))
        credible = [f for f in fits if _credible(f, bin_hz)]
        return min(credible, key=lambda f: f.noise_power) if credible else None


def loudest_moment(samples: FloatArray, onset_s: float, rate_hz: int) -> int:
    """First sample of the loudest millisecond within 30 ms of the onset."""
    start, frame = round(onset_s * rate_hz), max(1, rate_hz // 1000)
    return start + int(np.argmax(onset.envelope(samples[start : start + 30 * frame], frame))) * frame


def _rings_on(group: Fit, lead_s: float) -> bool:
    """Whether the slowest mode is still there at the next lead."""
    later = [lead for lead in LEADS_S if lead > lead_s]
    return bool(later) and bool(lost_db(group.modes.decay_per_s.min(), later[0]) < LARGEST_EXTRAPOLATION_DB)


def lost_db(decay_per_s: FloatArray, time_s: float) -> FloatArray:
    """By how much modes have sunk after `time_s`."""
    return np.asarray(20 * math.log10(math.e) * decay_per_s * time_s)


def _span(centre_hz: FloatArray, margin_hz: float) -> tuple[float, float]:
    return float(centre_hz.min()) - margin_hz, float(centre_hz.max()) + margin_hz


def _closed(ring: Ring, allowed: list[tuple[float, float]] | None) -> np.ndarray:
    closed = (ring.bin_hz < LOWEST_HZ) | (ring.bin_hz > min(HIGHEST_HZ, 0.45 * ring.frame.rate_hz))
    if allowed is not None:
        inside = [(ring.bin_hz > low) & (ring.bin_hz < high) for low, high in allowed]
        closed |= ~np.any(inside, axis=0)
    return np.asarray(closed)


def _floor(power: FloatArray, at: int, ring: Ring) -> tuple[slice, float]:
    """The stretch of FLOOR_HZ that a bin lies in, and the median power there; the last reaches to the end."""
    width = max(8, round(FLOOR_HZ * ring.frame.n_samples / ring.frame.rate_hz))
    last = max(1, len(power) // width) - 1
    start = min(at // width, last) * width
    median = float(np.median(power[start : start + width]))
    return slice(start, None if start == last * width else start + width), median


def _starts(
    frame: Frame, together: Modes, target: np.ndarray, bin_hz: FloatArray, peak_hz: float
) -> list[tuple[FloatArray, FloatArray]]:
    """Decays and frequencies from which to look for one mode more than `together`."""
    if not len(together):
        return [(np.array([_decay_of_width(target, bin_hz)]), np.array([peak_hz]))]
    baseband = fft.ifft(target)
    rate_hz = len(target) * frame.rate_hz / frame.n_samples
    whole = baseband[4 : len(baseband) - len(baseband) // 10]  # the band's edges ring at both ends
    decay, offset = esprit.decays_and_offsets(whole, rate_hz, len(together) + 1)
    inside = np.clip(decay, LN_1000 / LONGEST_T60_S, LN_1000 / SHORTEST_T60_S)
    starts = [(inside, bin_hz[0] + np.mod(offset, rate_hz))]
    guess = float(np.median(together.decay_per_s))
    frequency = np.append(together.frequency_hz, peak_hz)
    for factor in (0.2, 4.0):
        starts.append((np.append(together.decay_per_s, factor * guess), frequency))
    return starts


def _decay_of_width(target: np.ndarray, bin_hz: FloatArray) -> float:
    """Decay of a lone mode from the width of its peak at half the power, pi times that."""
    power = np.abs(target) ** 2
    wide = (power > 0.5 * power.max()).sum() * (bin_hz[1] - bin_hz[0])
    return float(np.clip(np.pi * wide, LN_1000 / LONGEST_T60_S, LN_1000 / SHORTEST_T60_S))


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


def _incredible(fit: Fit) -> int | None:
    """Place of the first mode that cannot be: no possible T60, too uncertain, or cancelling another."""
    decay, amplitude = fit.modes.decay_per_s, fit.modes.amplitude
    t60_s = LN_1000 / decay
    wrong = (t60_s < SHORTEST_T60_S) | (t60_s > LONGEST_T60_S) | (fit.relative_decay_se > LARGEST_RELATIVE_SE)
    if wrong.any():
        return int(np.argmax(wrong))
    pole = -decay + 2j * np.pi * fit.modes.frequency_hz
    for i in range(len(decay)):
        is_close = np.abs(pole - pole[i]) < CANCELLING_APART * 0.5 * (decay + decay[i])
        for near in _sets_with(i, np.flatnonzero(is_close)):
            size = np.abs(amplitude[near])
            if abs(amplitude[near].sum()) < CANCELLING_SHARE * size.max():
                return int(near[np.argmin(size)])
    return None


def _sets_with(i: int, near: NDArray[np.intp]) -> list[list[int]]:
    """Mode `i` with each earlier one near it, and with all that are near."""
    pairs = [[j, i] for j in near.tolist() if j < i]
    return pairs if len(near) < 3 else [*pairs, near.tolist()]


def _none(fit: Fit) -> Fit:
    return replace(
        fit,
        modes=fit.modes.subset(slice(0)),
        relative_decay_se=fit.relative_decay_se[:0],
        frequency_se_hz=fit.frequency_se_hz[:0],
    )


def _worth_it(before: list[Fit], after: Fit) -> bool:
    n_values = 2.0 * after.n_bins
    noise_before = sum(f.noise_power * f.n_bins for f in before) / sum(f.n_bins for f in before)
    gain = n_values * np.log(noise_before / after.noise_power)
    return bool(gain > EVIDENCE * PARAMETERS_PER_MODE * np.log(n_values))


def _found(group: Fit, ring: Ring, lead_s: float, trust: tuple[Trust, ...]) -> Found:
    density = 2.0 * group.noise_power / (ring.frame.n_samples * ring.frame.rate_hz)
    return Found(group, lead_s, density, trust)


def _measurable(group: Found) -> Found:
    """Without the modes that had died away before the first sample used."""
    fit = group.fit
    keep = lost_db(fit.modes.decay_per_s, group.lead_s) < LARGEST_EXTRAPOLATION_DB
    kept = replace(
        fit,
        modes=fit.modes.subset(keep),
        relative_decay_se=fit.relative_decay_se[keep],
        frequency_se_hz=fit.frequency_se_hz[keep],
    )
    trust = tuple(t for t, k in zip(group.trust, keep, strict=True) if k)
    return Found(kept, group.lead_s, group.noise_density, trust)
