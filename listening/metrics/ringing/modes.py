"""Decaying sinusoids fitted to bins of a spectrum by maximum likelihood.

The discrete Fourier transform of N samples of a exp((-d + j w) t) has a closed form, so that the fit needs no
filter, window or envelope: with noise that is white within the band, least squares over the bins reaches the
Cramér-Rao bound, and its covariance gives the standard errors.
"""

from dataclasses import dataclass

import numpy as np

from listening.audio.sound import FloatArray
from listening.metrics.ringing import mode_kernels

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
        mode_kernels.add_mode(total, sign, mode, bin_hz, (frame.n_samples, frame.rate_hz))


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
    packed, normal, cost, converged = mode_kernels.solved(begin, target / scale, bin_hz, size, max_steps)
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
    mode_kernels.fill_shape(decay, frequency, bin_hz, (frame.n_samples, frame.rate_hz), value, slope)
    return value, slope
