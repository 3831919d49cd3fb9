"""What speaks against a partial's T60, in words: of one partial alone, and of all of a sound together."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from listening.metrics.ringing.mode_trust import Trust

SIGNIFICANT_CHI2 = 13.8  # two degrees of freedom: one false alarm in a thousand
LEAST_BIAS = 0.02  # of T60, that a doubt is about
LEAST_MOVE = 0.05  # of T60, that another stretch must change: less stands in the standard error
MOVED_ERRORS = 4.0
LEAST_UNEXPLAINED = 1e-3  # of the energy around a partial: its root, 3 %, is what T60 may be off by
FEWEST_TOGETHER, SHARE_TOGETHER = 3, 0.5  # of the partials, before a cause common to all is named
SHARE_DOUBTED = 2 / 3  # of the strong partials, before the others are doubted too
LEAST_LOOSE = 0.2  # of T60, that order, start and stretch move it by: ten times what clean bells show

APART = "differs between the sounds"
BENT, MOVED, UNEXPLAINED = "bends", "moves", "is not explained"
LOOSE = "moves with the model"
TOGETHER, PITCH, CAPPED = "bends with the others", "changes pitch with the others", "is one of many"
DOUBTED = "stands among doubtful ones"
OF_A_SOUND = (TOGETHER, PITCH)
"""Causes that lie in the recording: no common pole and no other strike takes them away."""
TEXTS = {
    BENT: "no single exponential: two modes closer than {:.2g} Hz, or a gain or pitch that moves",
    MOVED: "T60 reads {} when read later",
    LOOSE: "another order of the model, start or stretch moves T60 by {:.0f} %",
    UNEXPLAINED: "{:.1f} % of the energy around it is not explained",
    TOGETHER: "the partials bend alike: a gain that moves (automatic gain, limiter, saturation), a room that "
    "reverberates, or a source that moves",
    PITCH: "the partials change pitch alike: the source or the microphone moves (Doppler)",
    DOUBTED: "{} of {} partials do not die away as one exponential: what bends them (a gain, a room, a "
    "source that moves) may go unseen here",
    APART: "each of the sounds alone reads another T60, the longest {:.2g} times the shortest",
    CAPPED: "{} modes found, as many as are looked for: more may hide between them",
}


@dataclass(frozen=True)
class Doubt:
    """Why a T60 is not known: what the partial does, and in full what was seen."""

    kind: str
    text: str


def doubt(kind: str, *values: object) -> Doubt:
    """A doubt of a kind with its numbers."""
    return Doubt(kind, TEXTS[kind].format(*values))


def of_mode(trust: Trust, decay_per_s: float, *, model_spread: float) -> tuple[Doubt, ...]:
    """Doubts about one mode; `model_spread` is what order, start and stretch add to the error of ln T60."""
    found = []
    if is_bent(trust, decay_per_s):
        found.append(doubt(BENT, split_hz(abs(trust.departure.curvature))))
    if model_spread > LEAST_LOOSE:
        found.append(doubt(LOOSE, 100 * model_spread))
    return (*found, *_moves(trust.moved, trust.moved_se), *_unexplained(trust.unexplained_share))


def of_shared(*, moved: float, moved_se: float, unexplained_share: float, apart: float) -> tuple[Doubt, ...]:
    """Doubts about a pole that several sounds share; `apart`: ln of the range of their own T60s, else 0."""
    found = [*_moves(moved, moved_se), *_unexplained(unexplained_share)]
    if apart > LEAST_MOVE:
        found.append(doubt(APART, np.exp(apart)))
    return tuple(found)


def _moves(moved: float, moved_se: float) -> tuple[Doubt, ...]:
    if abs(moved) > max(MOVED_ERRORS * moved_se, LEAST_MOVE):
        return (doubt(MOVED, _change(-moved)),)
    return ()


def _unexplained(share: float) -> tuple[Doubt, ...]:
    return (doubt(UNEXPLAINED, 100 * share),) if share > LEAST_UNEXPLAINED else ()


def is_bent(trust: Trust, decay_per_s: float) -> bool:
    """Whether a departure from one exponential is beyond the noise and large enough to matter."""
    bias = np.sqrt(2.0 * abs(trust.departure.curvature)) / decay_per_s
    return bool(trust.departure.chi2 > SIGNIFICANT_CHI2 and bias > LEAST_BIAS)


def of_all(modes: Sequence[tuple[Trust, float, float, bool]]) -> tuple[Doubt, ...]:
    """Doubts that concern every partial of a sound.

    Parameters
    ----------
    modes : trust, decay (1/s), frequency (Hz) of each mode, and whether another mode shares its frequency
    """
    bent = [(t.departure.curvature, hz, shared) for t, decay, hz, shared in modes if is_bent(t, decay)]
    folded = [hz for _, _, hz, shared in modes if shared]
    enough = max(FEWEST_TOGETHER, SHARE_TOGETHER * len(modes))
    found = []
    for real in (1.0, -1.0):
        if sum(real * c.real > abs(c.imag) for c, _, _ in bent) >= enough:
            found.append(doubt(TOGETHER))
    if not found and len(folded) >= max(2 * FEWEST_TOGETHER, enough):
        found.append(doubt(TOGETHER))
    for side in (1.0, -1.0):
        if sum(side * c.imag > abs(c.real) for c, _, _ in bent) >= enough:
            found.append(doubt(PITCH))
    return tuple(dict.fromkeys(found))


def among(n_doubted: int, n_partials: int) -> tuple[Doubt, ...]:
    """The doubt about all partials of a sound, of which so many are doubtful by themselves."""
    enough = max(FEWEST_TOGETHER, SHARE_DOUBTED * n_partials)
    return (doubt(DOUBTED, n_doubted, n_partials),) if n_doubted >= enough else ()


def _change(log_ratio: float) -> str:
    if abs(log_ratio) > np.log(2.0):
        return f"{'less than half' if log_ratio < 0 else 'more than twice'} as long"
    return f"{100 * (np.exp(log_ratio) - 1):+.0f} %"


def split_hz(curvature_per_s2: float) -> float:
    """Distance of two equally strong modes that bend a decay so much."""
    return float(np.sqrt(8.0 * curvature_per_s2) / (2.0 * np.pi))
