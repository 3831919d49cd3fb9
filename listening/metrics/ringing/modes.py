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
BLOCK_BINS = 64  # bins whose places on the unit circle come from one exponential


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

    Levenberg-Marquardt on ln decay, frequency, and the real and imaginary amplitude. Compiled, because a
    recording needs hundreds of these fits of a handful of numbers; solved by plain elimination, which goes
    the same way on every processor.
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


@njit(cache=True, error_model="numpy")
def _fill_shape(decay, frequency, bin_hz, frame, value, slope):  # type: ignore[no-untyped-def]
    n, rate = frame
    whole = np.exp(n * (-decay + 2j * np.pi * (frequency - bin_hz[0])) / rate) - 1.0
    shrink = np.expm1(-decay / rate)
    furthest = max(abs(frequency - bin_hz[0]), abs(frequency - bin_hz[-1])) * np.pi / rate
    is_near = furthest * furthest < 1e-3
    u, v, x, y = whole.real, whole.imag, n * (whole.real + 1.0), n * whole.imag
    for k in range(len(bin_hz)):
        turn = np.pi * (frequency - bin_hz[k]) / rate
        if is_near:  # the series to turn^9: exact to the last digit, and many times faster
            square = turn * turn
            s = turn * (1.0 - square / 6.0 * (1.0 - square / 20.0 * (1.0 - square / 42.0)))
            c = 1.0 - square / 2.0 * (1.0 - square / 12.0 * (1.0 - square / 30.0 * (1.0 - square / 56.0)))
        else:
            s, c = np.sin(turn), np.cos(turn)
        # exp(x) - 1 without the cancellation near x = 0
        p, q = shrink - 2.0 * s * s * (shrink + 1.0), 2.0 * s * c * (shrink + 1.0)
        scale = 1.0 / (p * p + q * q)
        real, imaginary = (u * p + v * q) * scale, (v * p - u * q) * scale
        value[k] = complex(real, imaginary)
        left_real = x - (real * (p + 1.0) - imaginary * q)
        left_imaginary = y - (real * q + imaginary * (p + 1.0))
        scale /= rate
        slope[k] = complex(
            (left_real * p + left_imaginary * q) * scale, (left_imaginary * p - left_real * q) * scale
        )


@njit(cache=True, error_model="numpy")
def _add_mode(total, sign, mode, bin_hz, frame):  # type: ignore[no-untyped-def]
    """Add (sign 1) or take off (sign -1) the spectrum of one mode, both its frequencies, in place.

    One exponential for BLOCK_BINS bins, the others by a product: plain loops that a compiler can widen.
    """
    n, rate = frame
    decay, frequency, amplitude = mode
    shrink = np.exp(-decay / rate)
    step_hz = bin_hz[1] - bin_hz[0] if len(bin_hz) > 1 else 0.0
    turn = np.exp(-2j * np.pi * step_hz / rate * np.arange(BLOCK_BINS))
    across, along = turn.real.copy(), turn.imag.copy()
    real, imaginary = np.empty(BLOCK_BINS), np.empty(BLOCK_BINS)
    for first in range(0, len(bin_hz), BLOCK_BINS):
        size = min(BLOCK_BINS, len(bin_hz) - first)
        real[:], imaginary[:] = 0.0, 0.0
        for side in (1.0, -1.0):
            a = sign * (amplitude if side > 0 else np.conj(amplitude))
            whole = a * (np.exp(n * (-decay + 2j * np.pi * (side * frequency - bin_hz[0])) / rate) - 1.0)
            z = shrink * np.exp(2j * np.pi * (side * frequency - bin_hz[first]) / rate)
            x, y, u, v = z.real, z.imag, whole.real, whole.imag
            for k in range(BLOCK_BINS):
                p, q = x * across[k] - y * along[k] - 1.0, x * along[k] + y * across[k]
                scale = 1.0 / (p * p + q * q)
                real[k] += (u * p + v * q) * scale
                imaginary[k] += (v * p - u * q) * scale
        for k in range(size):
            total[first + k] += complex(real[k], imaginary[k])


@njit(cache=True)
def _fill_shapes(packed, bin_hz, frame, shapes):  # type: ignore[no-untyped-def]
    """Shapes and slopes of m modes at both frequencies of each, into (m, 4, k)."""
    for i in range(len(packed)):
        decay, frequency = np.exp(packed[i, 0]), packed[i, 1] / (2 * np.pi)
        _fill_shape(decay, frequency, bin_hz, frame, shapes[i, 0], shapes[i, 1])
        _fill_shape(decay, -frequency, bin_hz, frame, shapes[i, 2], shapes[i, 3])


@njit(cache=True)
def _equations(packed, shapes, target, rate_hz, columns):  # type: ignore[no-untyped-def]
    """J'J, J'r and r'r of modes (m, 4) of these shapes; `columns`, (2, k, 4 m), is room for J."""
    m, k = packed.shape[0], len(target)
    normal, gradient, cost = np.zeros((4 * m, 4 * m)), np.zeros(4 * m), 0.0
    real, imaginary = columns[0], columns[1]
    unit = 1.0 / rate_hz  # amplitudes come scaled, so that all four derivatives are of one size
    for i in range(k):
        r = target[i]
        for j in range(m):
            near, near_slope, far, far_slope = (
                shapes[j, 0, i],
                shapes[j, 1, i],
                shapes[j, 2, i],
                shapes[j, 3, i],
            )
            a = complex(packed[j, 2], packed[j, 3])
            r -= unit * (a * near + np.conj(a) * far)
            along, back = a * near_slope * unit, np.conj(a) * far_slope * unit
            slopes = (
                -np.exp(packed[j, 0]) * (along + back),
                1j * (along - back),
                unit * (near + far),
                1j * unit * (near - far),
            )
            for p in range(4):
                real[i, 4 * j + p], imaginary[i, 4 * j + p] = slopes[p].real, slopes[p].imag
        cost += r.real * r.real + r.imag * r.imag
        for p in range(4 * m):
            x, y = real[i, p], imaginary[i, p]
            gradient[p] += x * r.real + y * r.imag
            for q in range(p + 1):
                normal[p, q] += x * real[i, q] + y * imaginary[i, q]
    for p in range(4 * m):
        for q in range(p):
            normal[q, p] = normal[p, q]
    return normal, gradient, cost


@njit(cache=True)
def _normal_equations(packed, target, bin_hz, frame):  # type: ignore[no-untyped-def]
    """J'J, J'r and r'r at `packed`, (m, 4)."""
    m, k = packed.shape[0], len(bin_hz)
    shapes, columns = np.empty((m, 4, k), dtype=np.complex128), np.empty((2, k, 4 * m))
    _fill_shapes(packed, bin_hz, frame, shapes)
    return _equations(packed, shapes, target, frame[1], columns)


@njit(cache=True, error_model="numpy")
def _solution(matrix, right):  # type: ignore[no-untyped-def]
    """x of matrix x = right by elimination, the largest pivot first; not finite where there is none."""
    n, left, x = len(right), matrix.copy(), right.copy()
    for i in range(n):
        best = i
        for row in range(i + 1, n):
            if abs(left[row, i]) > abs(left[best, i]):
                best = row
        if best != i:
            for column in range(i, n):
                left[i, column], left[best, column] = left[best, column], left[i, column]
            x[i], x[best] = x[best], x[i]
        for row in range(i + 1, n):
            factor = left[row, i] / left[i, i]
            for column in range(i + 1, n):
                left[row, column] -= factor * left[i, column]
            x[row] -= factor * x[i]
    for i in range(n - 1, -1, -1):
        for column in range(i + 1, n):
            x[i] -= left[i, column] * x[column]
        x[i] /= left[i, i]
    return x


@njit(cache=True)
def _amplitude_equations(packed, shapes, target, rate_hz, columns):  # type: ignore[no-untyped-def]
    """J'J and J'r by the real and imaginary amplitudes of modes (m, 4) alone; `columns` is room for J."""
    m, k = packed.shape[0], len(target)
    normal, gradient = np.zeros((2 * m, 2 * m)), np.zeros(2 * m)
    real, imaginary = columns[0], columns[1]
    unit = 1.0 / rate_hz
    for i in range(k):
        r = target[i]
        for j in range(m):
            near, far = unit * shapes[j, 0, i], unit * shapes[j, 2, i]
            a = complex(packed[j, 2], packed[j, 3])
            r -= a * near + np.conj(a) * far
            both, apart = near + far, near - far
            real[i, 2 * j], imaginary[i, 2 * j] = both.real, both.imag
            real[i, 2 * j + 1], imaginary[i, 2 * j + 1] = -apart.imag, apart.real
        for p in range(2 * m):
            x, y = real[i, p], imaginary[i, p]
            gradient[p] += x * r.real + y * r.imag
            for q in range(p + 1):
                normal[p, q] += x * real[i, q] + y * imaginary[i, q]
    for p in range(2 * m):
        for q in range(p):
            normal[q, p] = normal[p, q]
    return normal, gradient


@njit(cache=True, error_model="numpy")
def _settled(packed, target, bin_hz, frame):  # type: ignore[no-untyped-def]
    """`packed` with the amplitudes that fit best at its decays and frequencies, and the equations there."""
    m, k = packed.shape[0], len(bin_hz)
    shapes, columns = np.empty((m, 4, k), dtype=np.complex128), np.empty((2, k, 4 * m))
    _fill_shapes(packed, bin_hz, frame, shapes)
    block, right = _amplitude_equations(packed, shapes, target, frame[1], columns)
    block += 1e-13 * np.trace(block) * np.eye(2 * m)  # two modes may have become one
    settled = packed.copy()
    settled[:, 2:] += _solution(block, right).reshape(m, 2)
    normal, gradient, cost = _equations(settled, shapes, target, frame[1], columns)
    return settled, normal, gradient, cost


@njit(cache=True, error_model="numpy")
def _stepped(packed, normal, gradient, damping):  # type: ignore[no-untyped-def]
    """A damped step from `packed`, and the largest part of it in units of the fit's own scale."""
    n = len(gradient)
    scale, damped = np.empty(n), np.empty((n, n))
    for p in range(n):
        scale[p] = np.sqrt(normal[p, p]) + 1e-300
    for p in range(n):
        for q in range(n):
            damped[p, q] = normal[p, q] / (scale[p] * scale[q])
        damped[p, p] += damping
    scaled, trial, largest = _solution(damped, gradient / scale), packed.copy(), 0.0
    for p in range(n):
        largest = max(largest, abs(scaled[p]))
        trial[p // 4, p % 4] += scaled[p] / scale[p]
    for i in range(len(packed)):
        trial[i, 0] = min(max(trial[i, 0], -12.0), 12.0)
    return trial, largest


@njit(cache=True, error_model="numpy")
def _solved(packed, target, bin_hz, frame, max_steps):  # type: ignore[no-untyped-def]
    """Levenberg-Marquardt; solving for the amplitudes at every step straightens the valley of close modes.

    Source: Golub & Pereyra 2003, Inverse Problems 19; Nocedal & Wright 2006, chapter 10.
    """
    packed, normal, gradient, cost = _settled(packed, target, bin_hz, frame)
    damping = 1e-4
    for _ in range(max_steps):
        trial, largest = _stepped(packed, normal, gradient, damping)
        trial, new_normal, new_gradient, new_cost = _settled(trial, target, bin_hz, frame)
        if new_cost <= cost:
            small = largest <= 1e-7 * np.sqrt(cost) or cost - new_cost <= 1e-12 * cost
            packed, normal, gradient, cost = trial, new_normal, new_gradient, new_cost
            damping = max(damping / 10.0, 1e-12)
            if small:
                return packed, normal, cost, True
        else:
            damping *= 5.0
            if damping > 1e8:
                return packed, normal, cost, True
    return packed, normal, cost, False
