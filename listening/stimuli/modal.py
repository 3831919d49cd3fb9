"""A struck sound taken apart: decaying partials from the strike on, and the residual that they leave.

The metrics measure partials one by one, with their standard errors. Here they have to add up to the sound:
where many lie together, a band takes as many as it needs.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from scipy import fft

from listening.audio.sound import FloatArray, Sound
from listening.errors import SoundError
from listening.metrics.ringing import mode_search, modes
from listening.metrics.ringing.modes import LN_1000, Frame, Modes
from listening.metrics.striking import onset
from listening.stimuli import crowded, dense
from listening.stimuli.crowded import Peak

MOST_PARTIALS = 40
SHORTEST_RING_S = 0.35
EXPLAINED_FROM_S = 0.05
LEAST_EXPLAINED = 0.99  # of the energy from 50 ms to the noise; below, the sound does not suit
LEAST_RANGE_DB = 30.0  # from the level at 50 ms to the noise
FEWEST_MODES = 2
OVER_NOISE_DB = 10.0  # the energy is counted to where the level is this near the noise

LEAD_S = 0.03  # crowded bands are fitted from here: the contact itself is no ringing
CELL_HZ = 100.0  # resolution at which bands are found crowded
MARGIN_HZ = 150.0
CROWDED = 1e-3  # share of the whole energy that a cell may leave unexplained
ENOUGH = 2e-3  # share of its energy that a crowded band may leave
ORDERS = (2, 4, 6, 8, 10, 12, 14, 16)
WINDOW = 500  # samples of a band that its poles are read from
BAND_S = 2.0  # of the ringing that a crowded band is fitted to
MOST_CROWDED = 4
HOPELESS = 0.8  # of the energy: with less explained at first, the modes are too dense for a second look
STEPS = 25
GROUP_HZ = 60.0  # partials closer than this are fitted anew together
REFITS = 3
SHORTEST_T60_S, LONGEST_T60_S = 0.15, 60.0  # shorter belongs to the strike
BLOCK_SAMPLES = 512  # of a synthesis: one exponential a block and one a place in it, not one a sample


class TooDense(SoundError):
    """It rings, and its modes cannot be told apart."""


@dataclass(frozen=True, eq=False)
class Split:
    """A one-channel sound as modal part plus residual, sample by sample."""

    sound: Sound
    onset_s: float
    modes: Modes
    """From the onset on, in units of full scale."""
    explained: float
    """Share of the energy from 50 ms after the onset to the noise that the modal part accounts for."""
    range_db: float
    """From the level 50 ms after the onset to the noise."""
    peaks: tuple[Peak, ...] = ()
    """Where modes lie too close to be told apart: the bands that are moved as a whole instead."""
    is_dense: bool = False
    """Whether all of the ringing is one part, that can be weighted, not damped; `peaks` are its lines."""

    @property
    def t60_s(self) -> FloatArray:
        """(m,)"""
        return np.asarray(LN_1000 / self.modes.decay_per_s)

    @property
    def modal(self) -> FloatArray:
        """(n,) the modal part; of crowded peaks, what their bands hold."""
        if self.is_dense:
            return dense.ringing(self.sound, self.onset_s)
        if self.peaks:
            return crowded.ringing(self.sound, self.onset_s, self.peaks)
        return ringing(self.modes, self.sound.n_samples, self.sound.rate_hz, self.onset_s)

    @property
    def residual(self) -> FloatArray:
        """(n,) what the modal part leaves: the strike's noise, the room's, and what rings too briefly."""
        return np.asarray(self.sound.samples[:, 0] - self.modal)


def ringing(partials: Modes, n_samples: int, rate_hz: int, onset_s: float) -> FloatArray:
    """(n,) the modes as sound, silent before `onset_s`: blocks times places within one."""
    start = int(np.ceil(onset_s * rate_hz))
    total = np.zeros(n_samples)
    per_sample = (-partials.decay_per_s + 2j * np.pi * partials.frequency_hz) / rate_hz
    within = np.exp(np.arange(BLOCK_SAMPLES)[:, np.newaxis] * per_sample).T
    first = start - onset_s * rate_hz + np.arange(0, max(0, n_samples - start), BLOCK_SAMPLES)
    blocks = 2.0 * partials.amplitude * np.exp(first[:, np.newaxis] * per_sample)
    total[start:] = (blocks.real @ within.real - blocks.imag @ within.imag).ravel()[: n_samples - start]
    return total


def split(sound: Sound) -> Split:
    """A one-channel recording of one strike taken apart.

    Raises
    ------
    SoundError
        The recording does not suit: too short, too noisy, too few modes.
    TooDense
        Its modes cannot be told apart.
    """
    start_s = onset.find(sound).time_s
    if sound.duration_s - start_s < SHORTEST_RING_S:
        raise SoundError(
            f"{sound.name}: {sound.duration_s - start_s:.2f} s after the strike, "
            f"{SHORTEST_RING_S:.2f} s wanted to take it apart"
        )
    samples = sound.samples[:, 0]
    found = mode_search.search(samples, sound.rate_hz, start_s, most=MOST_PARTIALS)
    partials = Modes.joined([_advanced(group.fit.modes, -group.lead_s) for group in found])
    first = _measured(Split(sound, start_s, partials, 0.0, 0.0))
    is_crowded = HOPELESS < first.explained < LEAST_EXPLAINED
    if is_crowded:
        first = _measured(replace(first, modes=_with_crowded_bands(first)))
    if len(first.modes):
        polished = _measured(replace(first, modes=refitted(first, sound)))
        first = max(first, polished, key=lambda candidate: candidate.explained)
    _check(first)
    return replace(first, peaks=crowded.peaks(first.modes)) if is_crowded else first


def as_one(sound: Sound) -> Split:
    """A one-channel recording of one strike as its first instants and its ringing as one."""
    start_s = onset.find(sound).time_s
    lines = dense.lines(sound, start_s)
    return Split(sound, start_s, Modes.joined([]), 1.0, LEAST_RANGE_DB, lines, is_dense=True)


def _measured(whole: Split) -> Split:
    explained, range_db = _explained(whole)
    return replace(whole, explained=explained, range_db=range_db)


def _check(whole: Split) -> None:
    name, n_modes = whole.sound.name, len(whole.modes)
    if n_modes < FEWEST_MODES:
        raise SoundError(
            f"{name}: {n_modes} partials found, at least {FEWEST_MODES} wanted; it does not ring"
        )
    if whole.range_db < LEAST_RANGE_DB:
        raise SoundError(
            f"{name}: the ringing stands {whole.range_db:.0f} dB above the noise, {LEAST_RANGE_DB:.0f} dB "
            "wanted; record nearer or in a quieter room"
        )
    if whole.explained < LEAST_EXPLAINED:
        raise TooDense(
            f"{name}: {n_modes} partials explain {100 * whole.explained:.1f} % of the energy from 50 ms on, "
            f"{100 * LEAST_EXPLAINED:.0f} % wanted; its modes are too dense or it is no free ringing: "
            "only its brightness can be moved (isolation.brightness_ratio without a decay), or take another "
            "recording apart"
        )


def _explained(whole: Split) -> tuple[float, float]:
    """Share of energy explained from 50 ms to the noise, and the range in dB."""
    rate_hz = whole.sound.rate_hz
    begin = round((whole.onset_s + EXPLAINED_FROM_S) * rate_hz)
    samples, residual = whole.sound.samples[begin:, 0], whole.residual[begin:]
    frame = max(1, rate_hz // 50)
    level = onset.envelope(samples, frame)
    noise = float(np.median(onset.envelope(residual[-max(frame, len(residual) // 5) :], frame)))
    loud = np.flatnonzero(level > noise * 10 ** (OVER_NOISE_DB / 20))
    end = (int(loud[-1]) + 1) * frame if len(loud) else frame
    share = 1.0 - float((residual[:end] ** 2).sum() / max((samples[:end] ** 2).sum(), 1e-300))
    return share, float(20 * np.log10(max(level[0], 1e-12) / max(noise, 1e-12)))


def _advanced(partials: Modes, by_s: float) -> Modes:
    """The same modes counted from `by_s` later."""
    turn = np.exp((-partials.decay_per_s + 2j * np.pi * partials.frequency_hz) * by_s)
    return Modes(partials.decay_per_s, partials.frequency_hz, partials.amplitude * turn)


def _with_crowded_bands(whole: Split) -> Modes:
    """The modes, those of crowded bands replaced by as many as the bands need."""
    rate_hz = whole.sound.rate_hz
    first = round((whole.onset_s + LEAD_S) * rate_hz)
    lead_s = first / rate_hz - whole.onset_s
    partials = whole.modes
    for low_hz, high_hz in _crowded(whole, first)[:MOST_CROWDED]:
        outside = (partials.frequency_hz < low_hz) | (partials.frequency_hz > high_hz)
        others = partials.subset(outside)
        left = whole.sound.samples[:, 0] - ringing(others, whole.sound.n_samples, rate_hz, whole.onset_s)
        inside = _band_modes(left[first:], rate_hz, (low_hz - MARGIN_HZ, high_hz + MARGIN_HZ))
        partials = Modes.joined([others, _advanced(inside, -lead_s)])
    return partials


def _crowded(whole: Split, first: int) -> list[tuple[float, float]]:
    """Bands in which the modes leave too much."""
    energy = np.abs(fft.rfft(whole.sound.samples[first:, 0])) ** 2
    left = np.abs(fft.rfft(whole.residual[first:])) ** 2
    n_bins = max(1, round(CELL_HZ * (whole.sound.n_samples - first) / whole.sound.rate_hz))
    cells = np.add.reduceat(left, np.arange(0, len(left), n_bins))
    spans: list[tuple[float, float]] = []
    for cell in np.flatnonzero(cells > CROWDED * energy.sum()):
        low, high = max(cell * CELL_HZ, MARGIN_HZ), (cell + 1) * CELL_HZ
        if spans and low - spans[-1][1] < MARGIN_HZ:
            spans[-1] = (spans[-1][0], high)
        else:
            spans.append((low, high))
    return spans


def _band_modes(samples: FloatArray, rate_hz: int, span: tuple[float, float]) -> Modes:
    """The fewest modes that leave little of a band; `samples` start at their time 0."""
    n = fft.prev_fast_len(min(len(samples), round(BAND_S * rate_hz)), real=True)
    frame = Frame(n, rate_hz)
    spectrum = fft.rfft(samples[:n])
    bin_hz = frame.bin_hz(np.arange(len(spectrum)))
    band = slice(int(np.searchsorted(bin_hz, span[0])), int(np.searchsorted(bin_hz, span[1])))
    target, bin_hz = spectrum[band], bin_hz[band]
    energy, best, least = float((np.abs(target) ** 2).sum()), Modes.joined([]), np.inf
    for start in _starts(target, bin_hz, frame):
        fitted = modes.fit(start, target, bin_hz=bin_hz, frame=frame, max_steps=STEPS).modes
        lasting = _lasting(fitted.decay_per_s)
        if not lasting.any():
            continue
        fitted = modes.with_amplitudes(
            fitted.decay_per_s[lasting], fitted.frequency_hz[lasting], target, bin_hz=bin_hz, frame=frame
        )
        left = float((np.abs(target - modes.spectrum(fitted, bin_hz, frame)) ** 2).sum())
        if left < least:
            best, least = fitted, left
        if least < ENOUGH * energy:
            break
    return best


def _lasting(decay_per_s: FloatArray) -> np.ndarray:
    return np.asarray((decay_per_s > LN_1000 / LONGEST_T60_S) & (decay_per_s < LN_1000 / SHORTEST_T60_S))


def _starts(target: np.ndarray, bin_hz: FloatArray, frame: Frame) -> Iterator[Modes]:
    """Sets of more and more modes from the shift structure of a band.

    Source: Roy & Kailath 1989, IEEE Trans. ASSP 37(7), estimation by rotational invariance.
    """
    baseband = fft.ifft(target)
    whole = baseband[4 : len(baseband) - len(baseband) // 10][:WINDOW]  # the band's edges ring at both ends
    rows = len(whole) // 2
    hankel = np.lib.stride_tricks.sliding_window_view(whole, len(whole) - rows + 1)
    vectors = np.linalg.svd(hankel, full_matrices=False)[0]
    rate_hz = len(target) * frame.rate_hz / frame.n_samples
    for order in (n for n in ORDERS if n < rows):
        basis = vectors[:, :order]
        rotation = np.log(np.linalg.eigvals(np.linalg.lstsq(basis[:-1], basis[1:], rcond=None)[0]))
        decay = -rotation.real * rate_hz
        lasting = _lasting(decay)
        if lasting.any():
            frequency = bin_hz[0] + np.mod(rotation.imag[lasting] * rate_hz / (2 * np.pi), rate_hz)
            yield modes.with_amplitudes(decay[lasting], frequency, target, bin_hz=bin_hz, frame=frame)


def refitted(split: Split, sound: Sound, *, other_start: Modes | None = None) -> Modes:
    """The partials of `split` fitted anew to another sound of the same strike, from their old places.

    The fit starts at the old partials, and at `other_start` (as many) when it is given, and is free to move;
    the start that leaves less wins, so that it tells what the partials became. Partials close together are
    fitted together; strengths are from the onset on.
    """
    first = round((split.onset_s + LEAD_S) * sound.rate_hz)
    samples = sound.samples[first:, 0]
    frame = Frame(fft.prev_fast_len(len(samples), real=True), sound.rate_hz)
    residual = fft.rfft(samples[: frame.n_samples])
    lead_s = first / sound.rate_hz - split.onset_s
    groups = _groups(split.modes)
    starts = [_advanced(m, lead_s) for m in (split.modes, other_start) if m is not None]
    found = [starts[-1].subset(group) for group in groups]
    for fitted in found:
        modes.add(residual, fitted, -1.0, bin_hz=frame.bin_hz(np.arange(len(residual))), frame=frame)
    for round_ in range(REFITS):
        for i, group in enumerate(groups):
            candidates = [found[i]] + [m.subset(group) for m in (starts if round_ == 0 else [])]
            found[i] = _refitted_group(residual, found[i], candidates, frame)
    order = np.argsort(np.concatenate(groups))
    return _advanced(Modes.joined(found), -lead_s).subset(order)


def _refitted_group(residual: np.ndarray, old: Modes, candidates: list[Modes], frame: Frame) -> Modes:
    """The best fit to what the other groups leave; `residual` then is without it."""
    bin_hz = frame.bin_hz(np.arange(len(residual)))
    modes.add(residual, old, 1.0, bin_hz=bin_hz, frame=frame)
    low, high = old.frequency_hz.min() - GROUP_HZ, old.frequency_hz.max() + GROUP_HZ
    band = slice(int(np.searchsorted(bin_hz, low)), int(np.searchsorted(bin_hz, high)))
    fits = [modes.fit(m, residual[band], bin_hz=bin_hz[band], frame=frame) for m in candidates]
    sound_fits = [f for f in fits if (np.abs(f.modes.frequency_hz - old.frequency_hz) < GROUP_HZ).all()]
    best = min(sound_fits, key=lambda f: f.noise_power).modes if sound_fits else old
    modes.add(residual, best, -1.0, bin_hz=bin_hz, frame=frame)
    return best


def _groups(partials: Modes) -> list[np.ndarray]:
    """Indices of partials closer to their neighbour than GROUP_HZ."""
    by_frequency = np.argsort(partials.frequency_hz)
    gaps = np.flatnonzero(np.diff(partials.frequency_hz[by_frequency]) > GROUP_HZ) + 1
    return np.split(by_frequency, gaps)
