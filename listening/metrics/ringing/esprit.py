"""Poles of a short sum of decaying exponentials, from its shift structure: a first guess."""

import numpy as np

from listening.audio.sound import FloatArray

LONGEST = 160  # samples; more costs time and adds nothing to a starting point


def poles(samples: np.ndarray, order: int) -> np.ndarray:
    """(order,) complex poles z of samples ~ sum of c z^n, `samples` complex, (n,).

    Source: Roy & Kailath 1989, IEEE Trans. ASSP 37(7), estimation by rotational invariance.
    """
    samples = samples[:LONGEST]
    rows = max(order + 1, len(samples) // 3)
    hankel = np.lib.stride_tricks.sliding_window_view(samples, len(samples) - rows + 1)
    values, vectors = np.linalg.eigh(hankel @ hankel.conj().T)
    basis = vectors[:, np.argsort(values)[::-1][:order]]
    return np.asarray(np.linalg.eigvals(np.linalg.lstsq(basis[:-1], basis[1:], rcond=None)[0]))


def decays_and_offsets(samples: np.ndarray, rate_hz: float, order: int) -> tuple[FloatArray, FloatArray]:
    """Decay (1/s) and frequency offset (Hz), (order,) each, of a baseband signal at `rate_hz`."""
    rotation = np.log(poles(samples, order))
    return -rotation.real * rate_hz, rotation.imag * rate_hz / (2 * np.pi)
