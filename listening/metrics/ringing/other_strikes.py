"""Strikes in a recording beside the one that is measured: a second one, or a rebound."""

import numpy as np
from numpy import fft

from listening.audio.sound import FloatArray, Sound
from listening.metrics.striking import onset

REBOUND_S = 0.15  # a bounce that comes back within this is no strike of its own
WEAKEST_DB = -40.0  # re the loudest millisecond
OVER_FLOOR_DB = 12.0
DIFFERENCES = (0, 2, 4)  # of the samples: the higher, the more the contact stands out, and the noise
ORDER = 96  # of the prediction: two a mode, and as many again for the strike's colour
LEARNT_S = 3.0  # around the strike, that the prediction is learnt from; the later, the more of the noise
BEFORE_S = 0.05  # of it, before the strike
SEGMENT = 4096  # samples transformed at once: small enough for the fast part of the memory
LEAST_SHARE = 1e-10  # of the power, by which the equations are kept solvable


def find(sound: Sound, onset_s: float) -> tuple[float, ...]:
    """Instants of all other strikes of a one-channel sound, in order.

    A strike jumps: in level, where the first still rings in the high frequencies of its contact, or, for a
    soft rebound, in what the samples before do not foretell.
    """
    frame = max(1, round(onset.FRAME_S * sound.rate_hz))
    jumps = {i * frame for order in DIFFERENCES for i in _jumps(_differences(sound, order, frame))}
    found = sorted(jumps | _rebounds(sound, onset_s, frame))
    strikes: list[float] = []
    for at in (i / sound.rate_hz for i in found):
        if abs(at - onset_s) > onset.BOUNCE_S and (not strikes or at - strikes[-1] > onset.BOUNCE_S):
            strikes.append(at)
    return tuple(strikes)


def is_rebound(strike_s: float, onset_s: float) -> bool:
    """Whether another strike comes so soon that the first has bounced, or was a bounce."""
    return abs(strike_s - onset_s) < REBOUND_S


def unforeseen(samples: FloatArray) -> FloatArray:
    """(n,) what linear prediction does not foretell; a sum of decaying modes leaves nothing.

    Source: Makhoul 1975, Proc. IEEE 63(4), the autocorrelation method.
    """
    segments, kept = _overlapping(samples), np.arange(SEGMENT) >= ORDER
    spectra = fft.rfft(segments, axis=1)
    own = fft.rfft(segments * kept, axis=1)
    lags = fft.irfft((own * np.conj(spectra)).sum(axis=0), SEGMENT)[: ORDER + 1]
    apart = np.abs(np.subtract.outer(np.arange(ORDER), np.arange(ORDER)))
    normal = lags[apart] + LEAST_SHARE * lags[0] * np.eye(ORDER)
    taps = np.concatenate([[1.0], -np.linalg.solve(normal, lags[1:])])
    left = fft.irfft(spectra * fft.rfft(taps, SEGMENT), SEGMENT, axis=1)
    return np.asarray(left[:, ORDER:].reshape(-1)[: len(samples)])


def _overlapping(samples: FloatArray) -> FloatArray:
    """(k, SEGMENT) stretches of the samples, each with the ORDER samples before it; zeros around."""
    step = SEGMENT - ORDER
    n_segments = -(-len(samples) // step)
    padded = np.zeros(ORDER + n_segments * step)
    padded[ORDER : ORDER + len(samples)] = samples
    return np.lib.stride_tricks.sliding_window_view(padded, SEGMENT)[::step]


def _rebounds(sound: Sound, onset_s: float, frame: int) -> set[int]:
    """Samples at which, soon after the onset, something begins that the ringing does not foretell."""
    first = max(0, round((onset_s - BEFORE_S) * sound.rate_hz)) // frame * frame
    stretch = sound.pressure_between(first, first + round(LEARNT_S * sound.rate_hz))
    if len(stretch) < 2 * ORDER or not stretch.any():
        return set()
    at = (first + i * frame for i in _jumps(onset.envelope(unforeseen(stretch), frame)))
    return {i for i in at if is_rebound(i / sound.rate_hz, onset_s)}


def _differences(sound: Sound, order: int, frame: int) -> FloatArray:
    """(k,) rms of consecutive frames of the samples' differences of an order."""
    spans = sound.spans(0, sound.n_samples - order)
    blocks = (np.diff(sound.pressure_between(start, stop + order), order) for start, stop in spans)
    return onset.frames(blocks, frame)


def _jumps(rms: FloatArray) -> list[int]:
    """Frames at which a strike begins that is loud enough to count."""
    after = round(onset.RISE_AFTER_S / onset.FRAME_S)
    before = round(onset.RISE_BEFORE_S / onset.FRAME_S)  # in a file that begins amid noise, none does before
    loud = rms.max() * 10.0 ** (WEAKEST_DB / 20.0)
    floor = float(np.percentile(rms, 5)) * 10.0 ** (OVER_FLOOR_DB / 20.0)
    inside = onset.jumps(rms, before, len(rms) - after - 1)
    return [int(i) + after - 1 for i in inside if rms[i : i + after].max() > max(loud, floor)]
