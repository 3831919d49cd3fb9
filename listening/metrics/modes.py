"""Decaying sinusoids fitted to bins of a spectrum by maximum likelihood.

The discrete Fourier transform of N samples of a exp((-d + j w) t) has a closed form, so that the fit needs no
filter, window or envelope: with noise that is white within the band, least squares over the bins reaches the
Cramér-Rao bound, and its covariance gives the standard errors.
"""

from dataclasses import dataclass

import numpy as np
from scipy import optimize

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
    for decay, frequency, amplitude in zip(
        modes.decay_per_s, modes.frequency_hz, modes.amplitude, strict=True
    ):
        total += amplitude * _shape(decay, frequency, bin_hz, frame)[0]
        total += np.conj(amplitude) * _shape(decay, -frequency, bin_hz, frame)[0]
    return total


def with_amplitudes(decay_per_s: FloatArray, frequency_hz: FloatArray, target: ComplexArray, *,
                    bin_hz: FloatArray, frame: Frame) -> Modes:  # fmt: skip
    """Modes with given decays and frequencies and the amplitudes that fit `target` best."""
    columns = []
    for decay, frequency in zip(decay_per_s, frequency_hz, strict=True):
        near, _ = _shape(decay, frequency, bin_hz, frame)
        far, _ = _shape(decay, -frequency, bin_hz, frame)
        columns += [near + far, 1j * (near - far)]
    matrix = np.column_stack(columns)
    stacked = np.concatenate([matrix.real, matrix.imag])
    solution = np.linalg.lstsq(stacked, np.concatenate([target.real, target.imag]), rcond=None)[0]
    return Modes(decay_per_s, frequency_hz, solution[0::2] + 1j * solution[1::2])


def fit(start: Modes, target: ComplexArray, *, bin_hz: FloatArray, frame: Frame, max_steps: int = 60) -> Fit:
    """Least-squares modes for the bins `target`, (k,) complex, from a starting point near the answer."""
    problem = _Problem(start.frequency_hz, target, bin_hz, frame)
    solution = optimize.least_squares(
        problem.residual,
        problem.packed(start),
        jac=problem.jacobian,
        method="lm",
        xtol=1e-12,
        ftol=1e-12,
        max_nfev=max_steps,
    )
    return problem.result(solution.x, converged=bool(solution.success))


class _Problem:
    """Packs modes as ln decay, frequency offset (rad/s), real and imaginary amplitude, for the solver."""

    def __init__(self, centre_hz: FloatArray, target: ComplexArray, bin_hz: FloatArray, frame: Frame) -> None:
        self.centre_hz, self.target, self.bin_hz, self.frame = centre_hz, target, bin_hz, frame
        self.scale = float(np.abs(target).max()) or 1.0
        self.amplitude_scale = self.scale / frame.rate_hz

    def packed(self, modes: Modes) -> FloatArray:
        offset = 2 * np.pi * (modes.frequency_hz - self.centre_hz)
        amplitude = modes.amplitude / self.amplitude_scale
        return np.column_stack([np.log(modes.decay_per_s), offset, amplitude.real, amplitude.imag]).ravel()

    def unpacked(self, packed: FloatArray) -> Modes:
        rows = packed.reshape(-1, 4)
        decay = np.exp(np.clip(rows[:, 0], -12.0, 12.0))
        amplitude = (rows[:, 2] + 1j * rows[:, 3]) * self.amplitude_scale
        return Modes(decay, self.centre_hz + rows[:, 1] / (2 * np.pi), amplitude)

    def residual(self, packed: FloatArray) -> FloatArray:
        return self._stacked(spectrum(self.unpacked(packed), self.bin_hz, self.frame) - self.target)

    def jacobian(self, packed: FloatArray) -> FloatArray:
        modes, columns = self.unpacked(packed), []
        for decay, frequency, a in zip(modes.decay_per_s, modes.frequency_hz, modes.amplitude, strict=True):
            near, near_slope = _shape(decay, frequency, self.bin_hz, self.frame)
            far, far_slope = _shape(decay, -frequency, self.bin_hz, self.frame)
            along = (a * near_slope, np.conj(a) * far_slope)
            columns += [
                -decay * (along[0] + along[1]),
                1j * (along[0] - along[1]),
                (near + far) * self.amplitude_scale,
                1j * (near - far) * self.amplitude_scale,
            ]
        return np.column_stack([self._stacked(column) for column in columns])

    def result(self, packed: FloatArray, *, converged: bool) -> Fit:
        residual, jacobian = self.residual(packed), self.jacobian(packed)
        free = max(1, len(residual) - len(packed))
        variance = float(residual @ residual) / free
        errors = np.sqrt(np.maximum(np.diag(np.linalg.pinv(jacobian.T @ jacobian)) * variance, 0.0)).reshape(
            -1, 4
        )
        return Fit(
            modes=self.unpacked(packed),
            relative_decay_se=errors[:, 0],
            frequency_se_hz=errors[:, 1] / (2 * np.pi),
            noise_power=2.0 * variance * self.scale**2,
            n_bins=len(self.target),
            converged=converged,
        )

    def _stacked(self, values: ComplexArray) -> FloatArray:
        return np.concatenate([values.real, values.imag]) / self.scale


def _shape(
    decay: float, frequency: float, bin_hz: FloatArray, frame: Frame
) -> tuple[ComplexArray, ComplexArray]:
    """DFT of exp((-d + j w) t) at the bins, and its derivative by the exponent (per s)."""
    x = (-decay + 2j * np.pi * (frequency - bin_hz)) / frame.rate_hz
    step = np.expm1(x)
    whole = np.expm1(frame.n_samples * x)
    value = whole / step
    slope = (frame.n_samples * (whole + 1.0) - value * (step + 1.0)) / step
    return value, slope / frame.rate_hz
