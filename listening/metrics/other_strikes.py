"""Strikes in a recording beside the one that is measured: a second one, or a rebound."""

import numpy as np

from listening.audio.sound import Sound
from listening.metrics import onset

REBOUND_S = 0.15  # a bounce that comes back within this is no strike of its own
WEAKEST_DB = -40.0  # re the loudest millisecond
OVER_FLOOR_DB = 12.0
DIFFERENCES = (0, 2, 4)  # of the samples: the higher, the more the contact stands out, and the noise


def find(sound: Sound, onset_s: float) -> tuple[float, ...]:
    """Instants of all other strikes of a one-channel sound, in order.

    A strike jumps: in level, or, where the first still rings, in the high frequencies of its contact.
    """
    frame = max(1, round(onset.FRAME_S * sound.rate_hz))
    found = sorted({i for order in DIFFERENCES for i in _jumps(sound, order, frame)})
    strikes: list[float] = []
    for at in (i * frame / sound.rate_hz for i in found):
        if abs(at - onset_s) > onset.BOUNCE_S and (not strikes or at - strikes[-1] > onset.BOUNCE_S):
            strikes.append(at)
    return tuple(strikes)


def is_rebound(strike_s: float, onset_s: float) -> bool:
    """Whether another strike comes so soon that the first has bounced, or was a bounce."""
    return abs(strike_s - onset_s) < REBOUND_S


def _jumps(sound: Sound, order: int, frame: int) -> list[int]:
    """Frames of the differences of an order at which a strike begins that is loud enough to count."""
    spans = sound.spans(0, sound.n_samples - order)
    differences = (np.diff(sound.pressure_between(start, stop + order), order) for start, stop in spans)
    rms = onset.frames(differences, frame)
    after = round(onset.RISE_AFTER_S / onset.FRAME_S)
    loud = rms.max() * 10.0 ** (WEAKEST_DB / 20.0)
    floor = float(np.percentile(rms, 5)) * 10.0 ** (OVER_FLOOR_DB / 20.0)
    before = round(
        onset.RISE_BEFORE_S / onset.FRAME_S
    )  # where a file begins in the middle of noise, none does
    inside = onset.jumps(rms, before, len(rms) - after - 1)
    return [int(i) + after - 1 for i in inside if rms[i : i + after].max() > max(loud, floor)]
