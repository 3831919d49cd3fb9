"""Poles common to several spectra of one band: first guess, order, and maximum-likelihood fit.

The channels of one take, and strikes of one object, ring with the same modes in other strengths. A mode that
one of them hardly has is read from the others; two that cancel in one are seen in the next.
"""

from dataclasses import dataclass

import numpy as np
from scipy import fft

from listening.audio.sound import FloatArray
from listening.metrics.ringing import modes
from listening.metrics.ringing.esprit import LONGEST
from listening.metrics.ringing.modes import LN_1000, Frame

MOST_ORDER = 5
ESTER_SHARE = 0.1  # of the largest criterion: an order is a candidate from there on
ESTER_GOOD = 100.0  # and where the shift leaves a tenth or less, however much better one strong mode alone is
EVIDENCE = 3.0  # times the Bayesian information criterion's penalty, before one mode more is believed
STEPS = 200  # two modes less than 1 / T60 apart take over 40
SMALLEST_GAIN = 1e-10  # of the log likelihood's sum, at which the fit ends
FASTEST_PER_S, SLOWEST_PER_S = LN_1000 / 0.03, LN_1000 / 100.0
CUT_START, CUT_END = 4, 10  # samples and tenth of a band's baseband that ring from its edges


@dataclass(frozen=True, eq=False)
class Band:
    """The same bins of several spectra, each of one source."""

    targets: np.ndarray
    """(c, k)"""
    bin_hz: FloatArray
    """(k,)"""
    frame: Frame


@dataclass(frozen=True, eq=False)
class SharedFit:
    """Modes with common poles."""

    decay_per_s: FloatArray
    """(m,)"""
    frequency_hz: FloatArray
    """(m,)"""
    amplitude: np.ndarray
    """(c, m), half the amplitude of the real oscillation"""
    relative_decay_se: FloatArray
    """(m,) of ln decay, from the noise alone"""
    frequency_se_hz: FloatArray
    noise_power: FloatArray
    """(c,) mean squared magnitude of the residual of a bin"""
    log_likelihood: float

    def of_source(self, place: int) -> modes.Modes:
        return modes.Modes(self.decay_per_s, self.frequency_hz, self.amplitude[place])


def fit(band: Band) -> SharedFit | None:
    """The modes of a band with poles common to its sources; None where none can be fitted.

    Order: up to the largest whose ESTER criterion is a tenth of the best, or more than 100, one mode more is
    taken where the Bayesian information criterion of all sources together says so three times over.

    Sources: Roy & Kailath 1989 (shift invariance, here of the stacked Hankel matrices of all sources);
    Badeau, David & Richard 2006, IEEE Trans. Signal Process. 54(2) (ESTER); Schwarz 1978.
    """
    baseband, rate_hz = _baseband(band)
    basis = signal_space(baseband)
    best: SharedFit | None = None
    for order in range(1, largest_order(basis) + 1):
        decay, offset = decays_and_offsets(basis[:, :order], rate_hz)
        frequency = band.bin_hz[0] + np.mod(offset, rate_hz)
        made = polished(band, decay, frequency)
        if made is None or not _is_credible(made, band):
            continue
        if best is not None and not _worth_it(best, made, band):
            continue
        if best is not None and _better_apart(best, made, band):
            break  # one mode more would stand for poles that the sources do not share
        best = made
    return best


def alone(band: Band, made: SharedFit) -> list[SharedFit | None]:
    """The same number of modes fitted to each source by itself, from the common poles."""
    each = (Band(band.targets[c : c + 1], band.bin_hz, band.frame) for c in range(len(band.targets)))
    return [polished(one, made.decay_per_s, made.frequency_hz) for one in each]


def largest_order(basis: np.ndarray) -> int:
    """The largest order that the ESTER criterion allows; `basis` (rows, MOST_ORDER) from `signal_space`."""
    criterion = np.array([_ester(basis[:, :order]) for order in range(1, MOST_ORDER + 1)])
    return int(np.flatnonzero(criterion >= min(ESTER_GOOD, ESTER_SHARE * criterion.max()))[-1]) + 1


def decays_and_offsets(basis: np.ndarray, rate_hz: float) -> tuple[FloatArray, FloatArray]:
    """Decay (1/s) and frequency offset (Hz), (order,) each, of a signal space (rows, order) at `rate_hz`."""
    rotation = np.log(np.linalg.eigvals(np.linalg.lstsq(basis[:-1], basis[1:], rcond=None)[0]))
    decay = np.clip(-rotation.real * rate_hz, SLOWEST_PER_S, FASTEST_PER_S)
    by_frequency = np.argsort(rotation.imag)
    return decay[by_frequency], (rotation.imag * rate_hz / (2 * np.pi))[by_frequency]


def polished(band: Band, decay_per_s: FloatArray, frequency_hz: FloatArray) -> SharedFit | None:
    """Maximum-likelihood poles from a first guess; the noise of each source is its own and not known.

    Gauss-Newton with the amplitudes solved for at every step (Golub & Pereyra 2003, Inverse Problems 19).
    """
    at = np.concatenate([np.log(decay_per_s), 2 * np.pi * frequency_hz])
    here = _at(band, at)
    damping = 1e-4
    for _ in range(STEPS):
        normal, gradient = _normal(band, at, here)
        scale = np.sqrt(np.diag(normal)) + 1e-300
        scaled = normal / np.outer(scale, scale) + damping * np.eye(len(at))
        step = np.linalg.solve(scaled, gradient / scale) / scale
        trial = at + step
        m = len(at) // 2
        trial[:m] = np.clip(trial[:m], np.log(SLOWEST_PER_S), np.log(FASTEST_PER_S))
        there = _at(band, trial)
        if there.cost <= here.cost:
            ends = here.cost - there.cost < SMALLEST_GAIN * max(1.0, abs(here.cost))
            at, here, damping = trial, there, max(damping / 10, 1e-12)
            if ends:
                break
        else:
            damping *= 5.0
            if damping > 1e8:
                break
    return _made(band, at, here)


@dataclass(frozen=True, eq=False)
class _Point:
    matrix: FloatArray
    """(2k, 2m) spectra of the modes, real and imaginary parts stacked"""
    slopes: FloatArray
    """(2k, 2m) their derivatives by the exponent"""
    weights: FloatArray
    """(c, 2m) amplitudes"""
    rest: FloatArray
    """(c, 2k)"""
    variance: FloatArray
    """(c,) of one real value"""
    cost: float


def _at(band: Band, at: FloatArray) -> _Point:
    columns, slopes = _columns(band, at)
    stacked = _stacked(band.targets)
    weights = np.asarray(np.linalg.lstsq(columns, stacked.T, rcond=None)[0].T, dtype=np.float64)
    rest = stacked - weights @ columns.T
    freedom = max(1, stacked.shape[1] - columns.shape[1])
    least = 1e-30 * (stacked**2).mean(axis=1) + 1e-300
    variance: FloatArray = np.maximum((rest**2).sum(axis=1) / freedom, least)
    return _Point(
        columns, slopes, weights, rest, variance, float(0.5 * stacked.shape[1] * np.log(variance).sum())
    )


def _columns(band: Band, at: FloatArray) -> tuple[FloatArray, FloatArray]:
    """(2k, 2m) spectra of the modes, and their derivatives by the exponent, (2k, 2m)."""
    m = len(at) // 2
    values, slopes = [], []
    for log_decay, turn in zip(at[:m], at[m:], strict=True):
        near, near_slope = modes.shape(np.exp(log_decay), turn / (2 * np.pi), band.bin_hz, band.frame)
        far, far_slope = modes.shape(np.exp(log_decay), -turn / (2 * np.pi), band.bin_hz, band.frame)
        values += [near + far, 1j * (near - far)]
        slopes += [near_slope + far_slope, 1j * (near_slope - far_slope)]
    return _stacked(np.array(values)).T, _stacked(np.array(slopes)).T


def _normal(band: Band, at: FloatArray, here: _Point) -> tuple[FloatArray, FloatArray]:
    """J'J and J'r over all sources, each over its noise; J without what the amplitudes can take up.

    The columns of J are the derivatives by ln d, which moves the exponent by -d, and by w, by i.
    """
    m = len(at) // 2
    basis = np.linalg.qr(here.matrix)[0]
    normal, gradient = np.zeros((2 * m, 2 * m)), np.zeros(2 * m)
    for c in range(len(band.targets)):
        u, v = here.weights[c, 0::2], here.weights[c, 1::2]
        along, across = here.slopes[:, 0::2], here.slopes[:, 1::2]
        by_decay = -np.exp(at[:m]) * (along * u + across * v)
        by_turn = across * u - along * v
        jacobian = np.hstack([by_decay, by_turn])
        jacobian -= basis @ (basis.T @ jacobian)
        normal += jacobian.T @ jacobian / here.variance[c]
        gradient += jacobian.T @ here.rest[c] / here.variance[c]
    return normal, gradient


def _made(band: Band, at: FloatArray, here: _Point) -> SharedFit | None:
    m = len(at) // 2
    normal, _ = _normal(band, at, here)
    if not np.isfinite(normal).all():
        return None
    errors = np.sqrt(np.maximum(np.diag(np.linalg.pinv(normal, hermitian=True)), 0.0))
    return SharedFit(
        decay_per_s=np.exp(at[:m]),
        frequency_hz=at[m:] / (2 * np.pi),
        amplitude=here.weights[:, 0::2] + 1j * here.weights[:, 1::2],
        relative_decay_se=errors[:m],
        frequency_se_hz=errors[m:] / (2 * np.pi),
        noise_power=2.0 * here.variance,
        log_likelihood=-here.cost,
    )


def _stacked(values: np.ndarray) -> FloatArray:
    """(r, 2k) real from (r, k) complex."""
    return np.hstack([values.real, values.imag])


def _baseband(band: Band) -> tuple[np.ndarray, float]:
    """(c, n) complex, and its rate in Hz."""
    whole = fft.ifft(band.targets, axis=1)
    n = whole.shape[1]
    rate_hz = n * band.frame.rate_hz / band.frame.n_samples
    return whole[:, CUT_START : n - n // CUT_END][:, :LONGEST], rate_hz


def signal_space(baseband: np.ndarray) -> np.ndarray:
    """(rows, MOST_ORDER) leading left singular vectors of the stacked Hankel matrices.

    Each source weighs the same: a loud channel is no better known for being loud.
    """
    n = baseband.shape[1]
    rows = max(MOST_ORDER + 1, n // 3)
    total = np.zeros((rows, rows), dtype=complex)
    for one in baseband:
        hankel = np.lib.stride_tricks.sliding_window_view(one, n - rows + 1)
        total += hankel @ hankel.conj().T / max(float((np.abs(one) ** 2).sum()), 1e-300)
    values, vectors = np.linalg.eigh(total)
    return np.asarray(vectors[:, np.argsort(values)[::-1][:MOST_ORDER]])


def _ester(basis: np.ndarray) -> float:
    """Inverse squared norm of what the shift of the signal space leaves unexplained."""
    turned = np.linalg.lstsq(basis[:-1], basis[1:], rcond=None)[0]
    return 1.0 / max(float(np.linalg.norm(basis[1:] - basis[:-1] @ turned, 2)) ** 2, 1e-30)


def _is_credible(made: SharedFit, band: Band) -> bool:
    inside = (made.frequency_hz > band.bin_hz[0]) & (made.frequency_hz < band.bin_hz[-1])
    free = (made.decay_per_s > SLOWEST_PER_S) & (made.decay_per_s < FASTEST_PER_S)
    return bool(inside.all() and free.all() and (made.relative_decay_se < 0.5).all())


def _better_apart(before: SharedFit, after: SharedFit, band: Band) -> bool:
    """Whether as many modes as before, with poles of their own in each source, say as much as one more."""
    each = alone(band, before)
    n_sources, log_values = len(each), float(np.log(2.0 * band.targets.size))
    log_likelihood = sum(-np.inf if one is None else one.log_likelihood for one in each)
    poles_apart, poles_after = 2 * len(before.decay_per_s) * n_sources, 2 * len(after.decay_per_s)
    amplitudes = 2 * n_sources * (len(after.decay_per_s) - len(before.decay_per_s))
    more = poles_after + amplitudes - poles_apart
    return bool(2.0 * (after.log_likelihood - log_likelihood) < more * log_values)


def _worth_it(before: SharedFit, after: SharedFit, band: Band) -> bool:
    n_values = 2.0 * band.targets.size
    more = len(after.decay_per_s) - len(before.decay_per_s)
    parameters = more * (2 + 2 * len(band.targets))  # a pole, and an amplitude in every source
    gain = 2.0 * (after.log_likelihood - before.log_likelihood)
    return bool(gain > EVIDENCE * parameters * np.log(n_values))
