"""How far fitted modes are to be believed: what another order, start and stretch would say."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from listening.audio.sound import FloatArray
from listening.metrics.ringing import departure, modes
from listening.metrics.ringing.departure import Departure
from listening.metrics.ringing.mode_ring import Ring
from listening.metrics.ringing.modes import Fit, Frame, Modes

BAND_HZ = 50.0  # on each side, as the fit's own band
NEAR_HZ = 12.0  # where what a group leaves unexplained is counted
LATER_S = 0.05  # after the first sample used
SHORTER = 0.8  # of the stretch that is used
STEPS = 200  # more than any mode needs that rings: where a search was cut off would hang on the last bits
NOISE_ERROR = 0.5  # of the noise that is expected: it is read from other bins
SCATTER = 4.0  # standard deviations of the sum of exponentially distributed powers


@dataclass(frozen=True)
class Trust:
    """Of one mode."""

    departure: Departure
    """from a single exponential"""
    moved: float
    """ln decay of a reading that starts later and ends earlier, less that of the fit"""
    moved_se: float
    """its standard error from the noise alone; inf where no such reading could be had"""
    unexplained_share: float
    """of the energy around the group, beyond its noise"""


def of_groups(
    groups: Sequence[Fit], samples: FloatArray, ring: Ring, *, residual: np.ndarray, known: Modes
) -> list[tuple[Trust, ...]]:
    """Trust in each mode of each group.

    Departures are read from the later stretch, where the strike's own noise has died away: in the fit's it
    would bend every partial a little.

    Parameters
    ----------
    samples : (n,) what `ring` was made of
    residual : spectrum of `ring` less all modes
    known : modes that were taken out before the groups were looked for
    """
    skip = round(LATER_S * ring.frame.rate_hz)
    later = Ring.of(samples[skip : skip + round(SHORTER * len(samples))], ring.frame.rate_hz)
    left = np.empty(0) if later is None else _left(groups, later, known)
    return [
        _of_group(group, later, left, unexplained=_unexplained(group, ring, residual)) for group in groups
    ]


def _left(groups: Sequence[Fit], later: Ring, known: Modes) -> np.ndarray:
    """Spectrum of the later stretch less all modes."""
    left = later.spectrum.copy()
    everything = modes.advanced(Modes.joined([known, *(g.modes for g in groups)]), LATER_S)
    modes.add(left, everything, -1.0, bin_hz=later.bin_hz, frame=later.frame)
    return left


def _of_group(group: Fit, later: Ring | None, left: np.ndarray, *, unexplained: float) -> tuple[Trust, ...]:
    if later is None:
        return (Trust(departure.NONE, 0.0, float("inf"), unexplained),) * len(group.modes)
    start = modes.advanced(group.modes, LATER_S)
    band = _band(later, start, BAND_HZ)
    bin_hz = later.bin_hz[band]
    target = left[band] + modes.spectrum(start, bin_hz, later.frame)
    fit, held = _later_fit(start, target, bin_hz, later.frame)
    rest = target - modes.spectrum(fit.modes, bin_hz, later.frame)
    found = departure.of_group(fit.modes, rest, bin_hz=bin_hz, frame=later.frame)
    # of a mode that is not held, what the first step says: it is the same from wherever the search would end
    first = modes.fit(start, target, bin_hz=bin_hz, frame=later.frame, max_steps=1)
    trust = [Trust(departure.NONE, *one, unexplained) for one in _moved(group, first, np.arange(len(start)))]
    for i, bent, one in zip(held, found, _moved(group, fit, held), strict=True):
        trust[i] = Trust(bent, *one, unexplained)
    return tuple(trust)


def _moved(group: Fit, later: Fit, places: np.ndarray) -> list[tuple[float, float]]:
    """How far ln decay moved, and the standard error of that, for the modes of the later reading.

    Of two readings that share data the difference has the difference of the variances (Hausman 1978).
    """
    moved = np.log(later.modes.decay_per_s / group.modes.decay_per_s[places])
    variance = later.relative_decay_se**2 - group.relative_decay_se[places] ** 2
    error = np.sqrt(np.maximum(variance, 0.25 * later.relative_decay_se**2))
    return list(zip(moved.tolist(), error.tolist(), strict=True))


def _later_fit(start: Modes, target: np.ndarray, bin_hz: FloatArray, frame: Frame) -> tuple[Fit, np.ndarray]:
    """The modes that the later stretch holds, and their places; all where it holds none.

    A mode that has died away by then may run off to where no spectrum is, above half the rate or below 0 Hz;
    where it ends, and with it what is read of its neighbours, would hang on the last bits of the samples.
    """
    held = np.arange(len(start))
    while True:
        fit = modes.fit(start.subset(held), target, bin_hz=bin_hz, frame=frame, max_steps=STEPS)
        hz = fit.modes.frequency_hz
        inside = (hz > 0.0) & (hz < frame.rate_hz / 2)
        if inside.all() or not inside.any():
            return fit, held
        held = held[inside]


def _unexplained(group: Fit, ring: Ring, residual: np.ndarray) -> float:
    """Share of the energy near the group that its modes leave beyond noise; 0 where noise explains it."""
    near = _band(ring, group.modes, NEAR_HZ)
    left = np.abs(residual[near]) ** 2
    explained = np.abs(modes.spectrum(group.modes, ring.bin_hz[near], ring.frame)) ** 2
    noise = ring.late_noise(*_edges(group.modes, 2 * BAND_HZ))
    beyond = float(left.sum()) - noise * len(left)
    if beyond < noise * (NOISE_ERROR * len(left) + SCATTER * np.sqrt(len(left))):
        return 0.0
    return beyond / max(float(explained.sum()), 1e-300)


def _edges(m: Modes, margin_hz: float) -> tuple[float, float]:
    return float(m.frequency_hz.min()) - margin_hz, float(m.frequency_hz.max()) + margin_hz


def _band(ring: Ring, m: Modes, margin_hz: float) -> slice:
    return ring.band(*_edges(m, margin_hz))
