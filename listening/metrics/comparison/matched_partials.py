"""The partials of two sets of strikes, matched by frequency; beating pairs count as one, by energy sum."""

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import scipy

from listening.metrics import uncertainty
from listening.metrics.comparison import rows
from listening.metrics.comparison.strike_data import Mode, Strike
from listening.metrics.uncertainty import Difference

PAIR_SHARE, PAIR_HZ = 0.0025, 6.0  # modes closer than either are one partial: a dome that is not quite round
LARGEST_SHIFT = 0.03  # of the frequency, that a support may cause
WEAKEST_DB = -50.0  # re the strongest of the side
NOT_FOUND = "not found on {}"


@dataclass(frozen=True)
class Tone:
    """A partial, or a beating pair, over the strikes of one side."""

    hz: tuple[float, ...]
    """of each strike in which it was found, as it alone reads it, weighted with power"""
    level_db: tuple[float, ...]
    """of the summed energies at the onset"""
    t60_s: tuple[float, ...]
    """energy over starting power, as the T60 of one mode would give it; as each strike alone reads it"""
    common_hz: tuple[float, ...]
    common_t60_s: tuple[float, ...]
    """the same with the poles that the strikes have in common"""
    units: tuple[str, ...]
    modes: int
    """most modes found in one strike"""
    doubts: tuple[str, ...]
    is_common: bool
    groups: tuple[tuple[Mode, ...], ...]
    """modes of each strike, lowest first"""

    @property
    def mean_hz(self) -> float:
        return uncertainty.summary(self.common_hz, self.units).mean

    @property
    def model_se(self) -> float:
        """Standard error of ln T60 that the strikes have alike, of the strongest mode."""
        return float(np.mean([max(g, key=_power).model_se for g in self.groups]))

    @property
    def mean_db(self) -> float:
        return uncertainty.summary(self.level_db, self.units).mean

    @property
    def mean_t60_s(self) -> float:
        return math.exp(uncertainty.summary(np.log(self.common_t60_s).tolist(), self.units).mean)


@dataclass(frozen=True)
class PartialChange:
    """One partial on both sides; `lower` and `upper` are 95 % limits of t60_ratio over strikes."""

    a_hz: float | None
    b_hz: float | None
    shift_hz: float | None
    shift_lower_hz: float | None
    shift_upper_hz: float | None
    level_a_db: float | None
    level_b_db: float | None
    level_db: float | None
    """b less a, at the onset"""
    level_lower_db: float | None
    level_upper_db: float | None
    t60_a_s: float | None
    t60_b_s: float | None
    t60_ratio: float | None
    """b over a"""
    lower: float | None
    upper: float | None
    modes_a: int
    modes_b: int
    strikes_a: int
    strikes_b: int
    inside_repeatability: bool | None
    """of the T60 ratio"""
    known: bool
    why: str
    """what is not known, and why"""
    common_poles: bool
    """whether both sides' frequencies and T60s are of poles common to their strikes"""


def of_all(a: Sequence[Strike], b: Sequence[Strike]) -> tuple[PartialChange, ...]:
    """Every partial of either side that most of its strikes have, in order of frequency."""
    first, second = tones(a), tones(b)
    pairs, alone_a, alone_b = _matched(first, second)
    found = [_change(first[i], second[j]) for i, j in pairs]
    found += [_alone(first[i], None) for i in alone_a] + [_alone(None, second[j]) for j in alone_b]
    return tuple(sorted(found, key=lambda p: p.a_hz or p.b_hz or 0.0))


def tones(side: Sequence[Strike]) -> list[Tone]:
    """The partials that most strikes of a side have."""
    pairs = [(g, i) for i, s in enumerate(side) for g in _grouped(s.modes)]
    pairs.sort(key=lambda pair: _centre_hz(pair[0]))
    clusters: list[list[tuple[list[Mode], int]]] = []
    for group, strike in pairs:
        if clusters and _is_near(_centre_hz(group), _centre_hz(clusters[-1][0][0])):
            clusters[-1].append((group, strike))
        else:
            clusters.append([(group, strike)])
    found = [_tone(c, side) for c in clusters if 2 * len({i for _, i in c}) > len(side)]
    loudest = max((t.mean_db for t in found), default=0.0)
    return [t for t in found if t.mean_db > loudest + WEAKEST_DB]


def _grouped(modes: Sequence[Mode]) -> list[list[Mode]]:
    """The partials of one strike, those that beat with each other together."""
    groups: list[list[Mode]] = []
    for p in sorted(modes, key=lambda p: p.frequency_hz):
        if groups and _is_near(p.frequency_hz, groups[-1][-1].frequency_hz):
            groups[-1].append(p)
        else:
            groups.append([p])
    return groups


def _is_near(hz: float, other_hz: float) -> bool:
    return abs(hz - other_hz) < max(PAIR_HZ, PAIR_SHARE * hz)


def _power(p: Mode) -> float:
    return float(10.0 ** (p.level_db / 10.0))


def _centre_hz(group: Sequence[Mode]) -> float:
    return _weighted(group, [p.frequency_hz for p in group])


def _weighted(group: Sequence[Mode], values: Sequence[float]) -> float:
    """Mean of one value a mode, weighted with power."""
    power = [_power(p) for p in group]
    return math.fsum(w * v for w, v in zip(power, values, strict=True)) / math.fsum(power)


def _tone(cluster: list[tuple[list[Mode], int]], side: Sequence[Strike]) -> Tone:
    by_strike: dict[int, list[Mode]] = {}
    for group, i in cluster:
        by_strike.setdefault(i, []).extend(group)
    groups = [by_strike[i] for i in sorted(by_strike)]
    return Tone(
        hz=tuple(map(_centre_hz, groups)),
        level_db=tuple(10 * math.log10(math.fsum(map(_power, g))) for g in groups),
        t60_s=tuple(_weighted(g, [p.t60_s for p in g]) for g in groups),
        common_hz=tuple(_weighted(g, [p.common_hz for p in g]) for g in groups),
        common_t60_s=tuple(_weighted(g, [p.common_t60_s for p in g]) for g in groups),
        units=tuple(side[i].unit for i in sorted(by_strike)),
        modes=max(map(len, groups)),
        doubts=_doubts(groups),
        is_common=all(p.is_common for g in groups for p in g),
        groups=tuple(tuple(sorted(g, key=lambda p: p.frequency_hz)) for g in groups),
    )


def _doubts(groups: Sequence[Sequence[Mode]]) -> tuple[str, ...]:
    """Doubts about the strongest mode that more than half of the strikes share, and in how many."""
    counts = Counter(kind for g in groups for kind in set(max(g, key=_power).doubts))
    return tuple(
        f"{kind} ({n} of {len(groups)})" for kind, n in sorted(counts.items()) if 2 * n > len(groups)
    )


def _matched(a: list[Tone], b: list[Tone]) -> tuple[list[tuple[int, int]], list[int], list[int]]:
    """Pairs of least total shift, no pair further apart than LARGEST_SHIFT; and what stays alone."""
    if not a or not b:
        return [], list(range(len(a))), list(range(len(b)))
    apart = np.abs(np.log(np.array([[t.mean_hz / u.mean_hz for u in b] for t in a])))
    cost = np.minimum(apart, 10 * LARGEST_SHIFT)
    pairs = [
        (int(i), int(j))
        for i, j in zip(*scipy.optimize.linear_sum_assignment(cost), strict=True)
        if apart[i, j] < LARGEST_SHIFT
    ]
    used_a, used_b = {i for i, _ in pairs}, {j for _, j in pairs}
    return (
        pairs,
        [i for i in range(len(a)) if i not in used_a],
        [j for j in range(len(b)) if j not in used_b],
    )


def _change(a: Tone, b: Tone) -> PartialChange:
    shift_hz, shift = _shift(a, b)
    ratio = b.mean_t60_s / a.mean_t60_s
    gain = rows.difference(a.level_db, b.level_db, a.units, b.units)
    logs = (np.log(a.t60_s).tolist(), np.log(b.t60_s).tolist())
    alone = rows.difference(*logs, a.units, b.units, type_b=(a.model_se, b.model_se))
    log_ratio = _around(math.log(ratio), alone)
    why = "; ".join([*(f"a {d}" for d in a.doubts), *(f"b {d}" for d in b.doubts)])
    return PartialChange(
        a_hz=a.mean_hz,
        b_hz=b.mean_hz,
        shift_hz=shift_hz,
        shift_lower_hz=_low(shift),
        shift_upper_hz=_high(shift),
        level_a_db=a.mean_db,
        level_b_db=b.mean_db,
        level_db=b.mean_db - a.mean_db,
        level_lower_db=_low(gain),
        level_upper_db=_high(gain),
        t60_a_s=a.mean_t60_s,
        t60_b_s=b.mean_t60_s,
        t60_ratio=ratio,
        lower=None if log_ratio is None else math.exp(log_ratio.low),
        upper=None if log_ratio is None else math.exp(log_ratio.high),
        modes_a=a.modes,
        modes_b=b.modes,
        strikes_a=len(a.hz),
        strikes_b=len(b.hz),
        inside_repeatability=rows.inside(log_ratio),
        known=not why,
        why=why,
        common_poles=a.is_common and b.is_common,
    )


def _shift(a: Tone, b: Tone) -> tuple[float, Difference | None]:
    """By how much b lies higher, and limits.

    Of beating modes that both sides have it is the mean shift of each, weighted with a's power: where a dome
    is struck changes their shares, and that is no shift.
    """
    if len({len(g) for g in (*a.groups, *b.groups)}) > 1:
        return b.mean_hz - a.mean_hz, _around(
            b.mean_hz - a.mean_hz, rows.difference(a.hz, b.hz, a.units, b.units)
        )
    weights = np.mean([[_power(m) for m in g] for g in a.groups], axis=0)
    weights /= weights.sum()
    own_a, own_b = ([float(weights @ [m.frequency_hz for m in g]) for g in t.groups] for t in (a, b))
    common = ([float(weights @ [m.common_hz for m in g]) for g in t.groups] for t in (a, b))
    means = [uncertainty.summary(v, t.units).mean for v, t in zip(common, (a, b), strict=True)]
    shift_hz = means[1] - means[0]
    return shift_hz, _around(shift_hz, rows.difference(own_a, own_b, a.units, b.units))


def _around(estimate: float, alone: Difference | None) -> Difference | None:
    """The limits that the strikes' own readings give, around what their common poles say."""
    if alone is None:
        return None
    half = 0.5 * (alone.high - alone.low)
    return replace(alone, estimate=estimate, low=estimate - half, high=estimate + half)


def _alone(a: Tone | None, b: Tone | None) -> PartialChange:
    def of(tone: Tone | None, name: str) -> float | None:
        return None if tone is None else float(getattr(tone, name))

    missing = "b" if b is None else "a"
    return PartialChange(
        a_hz=of(a, "mean_hz"), b_hz=of(b, "mean_hz"),
        shift_hz=None, shift_lower_hz=None, shift_upper_hz=None,
        level_a_db=of(a, "mean_db"), level_b_db=of(b, "mean_db"),
        level_db=None, level_lower_db=None, level_upper_db=None,
        t60_a_s=of(a, "mean_t60_s"), t60_b_s=of(b, "mean_t60_s"),
        t60_ratio=None, lower=None, upper=None,
        modes_a=a.modes if a else 0, modes_b=b.modes if b else 0,
        strikes_a=len(a.hz) if a else 0, strikes_b=len(b.hz) if b else 0,
        inside_repeatability=None, known=False, why=NOT_FOUND.format(missing), common_poles=False,
    )  # fmt: skip


def _low(change: Difference | None) -> float | None:
    return change.low if change else None


def _high(change: Difference | None) -> float | None:
    return change.high if change else None
