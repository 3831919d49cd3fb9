"""Decaying sinusoids fitted to bins of a spectrum by maximum likelihood.

The discrete Fourier transform of N samples of a exp((-d + j w) t) has a closed form, so that the fit needs no
filter, window or envelope: with noise that is white within the band, least squares over the bins reaches the
Cramér-Rao bound, and its covariance gives the standard errors.
"""

from dataclasses import dataclass

import numpy as np
from numba import njit

from listening.audio.sound import FloatArray

ComplexArray = np.ndarray

LN_1000 = float(np.log(1000.0))  # 60 dB as a ratio of amplitudes


@dataclass(frozen=True, eq=False)
class Modes:
    """m modes Re(2 a exp((-d + j w) t)), t from the first sample."""

    decay_per_s: FloatArray
    """(m,) d"""
    frequency_hz: FloatArray
    """(m,) w / 2 pi"""
    amplitude: ComplexArray
    """(m,) a, half the amplitude of the real oscillation"""

    def __len__(self) -> int:
        return len(self.decay_per_s)

    def subset(self, index: FloatArray | np.ndarray | slice) -> "Modes":
        return Modes(self.decay_per_s[index], self.frequency_hz[index], self.amplitude[index])

    def each(self) -> "list[Modes]":
        """The modes one by one."""
        return [self.subset(slice(i, i + 1)) for i in range(len(self))]

    @staticmethod
    def joined(parts: "list[Modes]") -> "Modes":
        if not parts:
            return Modes(np.empty(0), np.empty(0), np.empty(0, complex))
        return Modes(
            np.concatenate([p.decay_per_s for p in parts]),
            np.concatenate([p.frequency_hz for p in parts]),
            np.concatenate([p.amplitude for p in parts]),
        )


@dataclass(frozen=True, eq=False)
class Fit:
    """Modes of one band with what the fit knows about them."""

    modes: Modes
    relative_decay_se: FloatArray
    """(m,) standard error of ln d, which is that of ln T60"""
    frequency_se_hz: FloatArray
    noise_power: float
    """mean squared magnitude of the residual of a bin"""
    n_bins: int
    converged: bool


@dataclass(frozen=True)
class Frame:
    """Length and rate of the samples behind a spectrum."""

    n_samples: int
    rate_hz: int

    def bin_hz(self, index: np.ndarray) -> FloatArray:
        return np.asarray(index * (self.rate_hz / self.n_samples))


def spectrum(modes: Modes, bin_hz: FloatArray, frame: Frame) -> ComplexArray:
    """(k,) DFT of the modes at the bins, both the positive and the negative frequency of each."""
    total = np.zeros(len(bin_hz), dtype=complex)
    add(total, modes, 1.0, bin_hz=bin_hz, frame=frame)
    return total


def add(total: ComplexArray, modes: Modes, sign: float, *, bin_hz: FloatArray, frame: Frame) -> None:
    """Add `sign` times the spectrum of the modes to `total`, (k,), in place; the bins are evenly spaced."""
    for mode in zip(modes.decay_per_s, modes.frequency_hz, modes.amplitude, strict=True):
        _add_mode(total, sign, mode, bin_hz, (frame.n_samples, frame.rate_hz))


def advanced(m: Modes, by_s: float) -> Modes:
    """The same modes, counted from `by_s` later."""
    turn = np.exp((-m.decay_per_s + 2j * np.pi * m.frequency_hz) * by_s)
    return Modes(m.decay_per_s, m.frequency_hz, m.amplitude * turn)


def with_amplitudes(decay_per_s: FloatArray, frequency_hz: FloatArray, target: ComplexArray, *,
                    bin_hz: FloatArray, frame: Frame) -> Modes:  # fmt: skip
    """Modes with given decays and frequencies and the amplitudes that fit `target` best."""
    columns = []
    for decay, frequency in zip(decay_per_s, frequency_hz, strict=True):
        near, _ = shape(decay, frequency, bin_hz, frame)
        far, _ = shape(decay, -frequency, bin_hz, frame)
        columns += [near + far, 1j * (near - far)]
    matrix = np.column_stack(columns)
    stacked = np.concatenate([matrix.real, matrix.imag])
    solution = np.linalg.lstsq(stacked, np.concatenate([target.real, target.imag]), rcond=None)[0]
    return Modes(decay_per_s, frequency_hz, solution[0::2] + 1j * solution[1::2])


def fit(start: Modes, target: ComplexArray, *, bin_hz: FloatArray, frame: Frame, max_steps: int = 60) -> Fit:
    """Least-squares modes for the bins `target`, (k,) complex, from a starting point near the answer.

    Levenberg-Marquardt on ln decay, frequency, and the real and imaginary amplitude. The sums over the bins
    are compiled, because a recording needs hundreds of these fits; the steps are not, because compiling them
    takes longer than they do.
    """
    scale = float(np.abs(target).max()) or 1.0
    amplitude_scale, size = scale / frame.rate_hz, (frame.n_samples, frame.rate_hz)
    begin = _packed(start, amplitude_scale)
    packed, normal, cost, converged = _solved(begin, target / scale, bin_hz, size, max_steps)
    variance = cost / max(1, 2 * len(target) - begin.size)
    covariance = np.linalg.pinv(normal, hermitian=True) * variance
    errors = np.sqrt(np.maximum(np.diag(covariance), 0.0)).reshape(-1, 4)
    return Fit(
        modes=_unpacked(packed, amplitude_scale),
        relative_decay_se=errors[:, 0],
        frequency_se_hz=errors[:, 1] / (2 * np.pi),
        noise_power=2.0 * variance * scale**2,
        n_bins=len(target),
        converged=bool(converged),
    )


def _packed(m: Modes, amplitude_scale: float) -> FloatArray:
    """(m, 4): ln decay, angular frequency, real and imaginary amplitude."""
    amplitude = m.amplitude / amplitude_scale
    columns = [np.log(m.decay_per_s), 2 * np.pi * m.frequency_hz, amplitude.real, amplitude.imag]
    return np.ascontiguousarray(np.column_stack(columns))


def _unpacked(packed: FloatArray, amplitude_scale: float) -> Modes:
    amplitude = (packed[:, 2] + 1j * packed[:, 3]) * amplitude_scale
    return Modes(np.exp(packed[:, 0]), packed[:, 1] / (2 * np.pi), amplitude)


def shape(
    decay: float, frequency: float, bin_hz: FloatArray, frame: Frame
) -> tuple[ComplexArray, ComplexArray]:
    """DFT of exp((-d + j w) t) at the bins, and its derivative by the exponent (per s)."""
    value, slope = np.empty(len(bin_hz), dtype=complex), np.empty(len(bin_hz), dtype=complex)
    _fill_shape(decay, frequency, bin_hz, (frame.n_samples, frame.rate_hz), value, slope)
    return value, slope


@njit(cache=True)
def _fill_shape(decay, frequency, bin_hz, frame, value, slope):  # type: ignore[no-untyped-def]
    n, rate = frame
    whole = np.exp(n * (-decay + 2j * np.pi * (frequency - bin_hz[0])) / rate) - 1.0
    for k in range(len(bin_hz)):
        turn = np.pi * (frequency - bin_hz[k]) / rate
        s, c, shrink = np.sin(turn), np.cos(turn), np.expm1(-decay / rate)
        # exp(x) - 1 without the cancellation near x = 0
        step = complex(shrink - 2.0 * s * s * (shrink + 1.0), 2.0 * s * c * (shrink + 1.0))
        value[k] = whole / step
        slope[k] = (n * (whole + 1.0) - value[k] * (step + 1.0)) / (step * rate)


@njit(cache=True)
def _add_mode(total, sign, mode, bin_hz, frame):  # type: ignore[no-untyped-def]
    """Add (sign 1) or take off (sign -1) the spectrum of one mode, both its frequencies, in place."""
    n, rate = frame
    decay, frequency, amplitude = mode
    for side in (1.0, -1.0):
        a = sign * (amplitude if side > 0 else np.conj(amplitude))
        whole = a * (np.exp(n * (-decay + 2j * np.pi * (side * frequency - bin_hz[0])) / rate) - 1.0)
        shrink = np.exp(-decay / rate)
        turn = np.exp(-2j * np.pi * (bin_hz[1] - bin_hz[0]) / rate) if len(bin_hz) > 1 else 1.0 + 0.0j
        z = 0.0j
        for k in range(len(bin_hz)):
            if k % 64 == 0:  # start afresh before rounding adds up
                z = shrink * np.exp(2j * np.pi * (side * frequency - bin_hz[k]) / rate)
            d = z - 1.0
            total[k] += whole * np.conj(d) / (d.real * d.real + d.imag * d.imag)
            z *= turn


@njit(cache=True)
def _slopes_of_mode(mode, bin_hz, frame, model, columns):  # type: ignore[no-untyped-def]
    """Add one mode to `model` and put its four derivatives into `columns`, (4, k)."""
    decay, frequency = np.exp(mode[0]), mode[1] / (2 * np.pi)
    a = complex(mode[2], mode[3])
    k = len(bin_hz)
    near, near_slope = np.empty(k, dtype=np.complex128), np.empty(k, dtype=np.complex128)
    far, far_slope = np.empty(k, dtype=np.complex128), np.empty(k, dtype=np.complex128)
    _fill_shape(decay, frequency, bin_hz, frame, near, near_slope)
    _fill_shape(decay, -frequency, bin_hz, frame, far, far_slope)
    unit = 1.0 / frame[1]  # amplitudes come scaled, so that all four derivatives are of one size
    for i in range(k):
        along, back = a * near_slope[i] * unit, np.conj(a) * far_slope[i] * unit
        model[i] += unit * (a * near[i] + np.conj(a) * far[i])
        columns[0, i] = -decay * (along + back)
        columns[1, i] = 1j * (along - back)
        columns[2, i] = unit * (near[i] + far[i])
        columns[3, i] = 1j * unit * (near[i] - far[i])


@njit(cache=True)
def _normal_equations(packed, target, bin_hz, frame):  # type: ignore[no-untyped-def]
    """J'J, J'r and r'r at `packed`, (m, 4)."""
    m, k = packed.shape[0], len(bin_hz)
    model, columns = np.zeros(k, dtype=np.complex128), np.empty((4 * m, k), dtype=np.complex128)
    for i in range(m):
        _slopes_of_mode(packed[i], bin_hz, frame, model, columns[4 * i : 4 * i + 4])
    normal, gradient, cost = np.zeros((4 * m, 4 * m)), np.zeros(4 * m), 0.0
    for i in range(k):
        r = target[i] - model[i]
        cost += r.real * r.real + r.imag * r.imag
        for p in range(4 * m):
            c = columns[p, i]
            gradient[p] += c.real * r.real + c.imag * r.imag
            for q in range(p + 1):
                normal[p, q] += c.real * columns[q, i].real + c.imag * columns[q, i].imag
    for p in range(4 * m):
        for q in range(p):
            normal[q, p] = normal[p, q]
    return normal, gradient, cost


Equations = tuple[FloatArray, FloatArray, float]


def _settled(
    packed: FloatArray, target: ComplexArray, bin_hz: FloatArray, size: tuple[int, int]
) -> tuple[FloatArray, Equations]:
    """`packed` with the amplitudes that fit best at its decays and frequencies, and the equations there."""
    normal, gradient, _ = _normal_equations(packed, target, bin_hz, size)
    m = len(packed)
    linear = np.arange(4 * m).reshape(m, 4)[:, 2:].ravel()
    block = normal[np.ix_(linear, linear)]
    block += 1e-13 * np.trace(block) * np.eye(2 * m)  # two modes may have become one
    settled = packed.copy()
    settled[:, 2:] += np.linalg.solve(block, gradient[linear]).reshape(m, 2)
    return settled, _normal_equations(settled, target, bin_hz, size)


def _solved(
    packed: FloatArray, target: ComplexArray, bin_hz: FloatArray, size: tuple[int, int], max_steps: int
) -> tuple[FloatArray, FloatArray, float, bool]:
    """Levenberg-Marquardt; solving for the amplitudes at every step straightens the valley of close modes.

    Source: Golub & Pereyra 2003, Inverse Problems 19; Nocedal & Wright 2006, chapter 10.
    """
    packed, (normal, gradient, cost) = _settled(packed, target, bin_hz, size)
    damping = 1e-4
    for _ in range(max_steps):
        scale = np.sqrt(np.diag(normal)) + 1e-300
        scaled = normal / np.outer(scale, scale)
        step = np.linalg.solve(scaled + damping * np.eye(len(scale)), gradient / scale) / scale
        trial = packed + step.reshape(packed.shape)
        trial[:, 0] = np.clip(trial[:, 0], -12.0, 12.0)
        trial, (new_normal, new_gradient, new_cost) = _settled(trial, target, bin_hz, size)
        if new_cost <= cost:
            small = np.abs(step * scale).max() <= 1e-7 * np.sqrt(cost) or cost - new_cost <= 1e-12 * cost
            packed, normal, gradient, cost = trial, new_normal, new_gradient, new_cost
            damping = max(damping / 10.0, 1e-12)
            if small:
                return packed, normal, cost, True
        else:
            damping *= 5.0
            if damping > 1e8:
                return packed, normal, cost, True
    return packed, normal, cost, False
