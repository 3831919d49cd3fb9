"""Compiled arithmetic of `modes`: spectra of decaying sinusoids, and their least-squares fit.

Modes come packed, (m, 4): ln decay, angular frequency, real and imaginary amplitude in the fit's own scale.
"""

import numpy as np
from numba import njit

BLOCK_BINS = 64  # bins whose places on the unit circle come from one exponential


@njit(cache=True, error_model="numpy")
def fill_shape(decay, frequency, bin_hz, frame, value, slope):  # type: ignore[no-untyped-def]
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
def add_mode(total, sign, mode, bin_hz, frame):  # type: ignore[no-untyped-def]
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
def fill_shapes(packed, bin_hz, frame, shapes):  # type: ignore[no-untyped-def]
    """Shapes and slopes of m modes at both frequencies of each, into (m, 4, k)."""
    for i in range(len(packed)):
        decay, frequency = np.exp(packed[i, 0]), packed[i, 1] / (2 * np.pi)
        fill_shape(decay, frequency, bin_hz, frame, shapes[i, 0], shapes[i, 1])
        fill_shape(decay, -frequency, bin_hz, frame, shapes[i, 2], shapes[i, 3])


@njit(cache=True)
def equations(packed, shapes, target, rate_hz, columns):  # type: ignore[no-untyped-def]
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
    fill_shapes(packed, bin_hz, frame, shapes)
    block, right = _amplitude_equations(packed, shapes, target, frame[1], columns)
    block += 1e-13 * np.trace(block) * np.eye(2 * m)  # two modes may have become one
    settled = packed.copy()
    settled[:, 2:] += _solution(block, right).reshape(m, 2)
    normal, gradient, cost = equations(settled, shapes, target, frame[1], columns)
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
def solved(packed, target, bin_hz, frame, max_steps):  # type: ignore[no-untyped-def]
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
