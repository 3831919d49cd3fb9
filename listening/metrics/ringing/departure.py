"""Whether a fitted partial dies away as one exponential: the first term that a single mode cannot follow.

Several modes at nearly one place, p + e_i, add up to a exp(p t) (1 + e t + c t² + …). The mean shift e goes
into the fitted pole; c does not, and no pole can take it up. So c, read from what the fit leaves, tells of
two modes merged into one (c = half the weighted mean square of their distance), of a gain that moves (c real:
the level curves) and of a pitch that moves (c imaginary: the frequency drifts), whatever the cause.
"""

from dataclasses import dataclass

import numpy as np

from listening.audio.sound import FloatArray
from listening.metrics.ringing import modes
from listening.metrics.ringing.modes import Frame, Modes

STEP = 1e-3  # of the decay, for the second derivative by the pole


@dataclass(frozen=True)
class Departure:
    """Of one mode of a fit."""

    curvature: complex
    """c, 1/s²; of the fitted amplitude"""
    curvature_se: float
    """standard error of its modulus, 1/s²"""
    chi2: float
    """of c against the noise, two degrees of freedom"""
    decay_shift: float
    """change of ln decay when c is left free: what the order of the model moves"""
    frequency_shift_hz: float


NONE = Departure(0j, float("inf"), 0.0, 0.0, 0.0)


def of_group(fitted: Modes, residual: np.ndarray, *, bin_hz: FloatArray, frame: Frame) -> list[Departure]:
    """One departure a mode of a group that was fitted together, from the bins (k,) that the fit leaves."""
    tangent = np.hstack([_columns(*terms) for m in fitted.each() for terms in _terms(m, bin_hz, frame)[:2]])
    target = _stacked(residual)
    found = []
    for i, mode in enumerate(fitted.each()):
        bent = _columns(*_terms(mode, bin_hz, frame)[2])
        found.append(_departure(mode, np.hstack([tangent, bent]), target, place=i))
    return found


def _departure(mode: Modes, matrix: FloatArray, target: FloatArray, *, place: int) -> Departure:
    scale = np.linalg.norm(matrix, axis=0)
    scaled = matrix / scale
    normal = scaled.T @ scaled
    inverse = np.linalg.pinv(normal, hermitian=True)
    solution = inverse @ (scaled.T @ target)
    left = target - scaled @ solution
    variance = float(left @ left) / max(1, len(target) - matrix.shape[1])
    bent = solution[-2:]
    chi2 = float(bent @ np.linalg.solve(inverse[-2:, -2:], bent)) / variance
    raw = solution / scale
    amplitude = mode.amplitude[0]
    slope = complex(raw[4 * place + 2], raw[4 * place + 3]) / amplitude
    spread = np.sqrt(variance * np.diag(inverse)[-2:].mean()) / np.sqrt(scale[-2] * scale[-1])
    return Departure(
        curvature=complex(raw[-2], raw[-1]) / amplitude,
        curvature_se=float(spread / abs(amplitude)),
        chi2=chi2,
        decay_shift=float(-slope.real / mode.decay_per_s[0]),
        frequency_shift_hz=float(slope.imag / (2 * np.pi)),
    )


Terms = tuple[np.ndarray, np.ndarray]


def _terms(mode: Modes, bin_hz: FloatArray, frame: Frame) -> tuple[Terms, Terms, Terms]:
    """Spectra of exp(p t), t exp(p t), t² exp(p t), each at the positive and the negative frequency."""
    decay, frequency = float(mode.decay_per_s[0]), float(mode.frequency_hz[0])
    sides = []
    for hz in (frequency, -frequency):
        value, slope = modes.shape(decay, hz, bin_hz, frame)
        step = STEP * decay
        _, faster = modes.shape(decay + step, hz, bin_hz, frame)
        _, slower = modes.shape(decay - step, hz, bin_hz, frame)
        sides.append((value, slope, (slower - faster) / (2 * step)))
    near, far = sides
    return (near[0], far[0]), (near[1], far[1]), (near[2], far[2])


def _columns(near: np.ndarray, far: np.ndarray) -> FloatArray:
    return np.column_stack([_stacked(near + far), _stacked(1j * (near - far))])


def _stacked(values: np.ndarray) -> FloatArray:
    return np.concatenate([values.real, values.imag])
