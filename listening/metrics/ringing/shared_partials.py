"""The partials that several sources have in common: the channels of one take, or strikes of one object."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from listening.audio.sound import Sound
from listening.errors import SoundError
from listening.metrics.ringing import mode_search, modes, partial_doubts, shared_fit, unexplained
from listening.metrics.ringing.mode_ring import Ring
from listening.metrics.ringing.modes import LN_1000, Modes
from listening.metrics.ringing.partial_doubts import Doubt
from listening.metrics.ringing.partials import LEAST_EXPLAINED, WEAKEST_DB, Partial
from listening.metrics.ringing.shared_fit import Band, SharedFit
from listening.metrics.striking import ringing_part

HALF_BAND_HZ = 50.0
TOGETHER_HZ = 12.0  # partials closer than this are fitted together
START_S = 0.03  # after the last onset-to-loudest of all sources: the contact itself is no ringing
LATER_S, SHORTER = 0.05, 0.8  # the other reading, whose difference stands in the standard error
SAME_ERRORS = 3.0  # standard errors, of two readings, within which they are of one mode
HEARD_DB = -30.0  # re the source with most of a mode: one with less says nothing about its pole
LEAST_KNOWN = 0.5  # standard error of ln T60, beyond which a source alone says nothing
LARGEST_RELATIVE_SE = 10.0


@dataclass(frozen=True)
class SharedPartial:
    """A pole common to all sources, with its level in each."""

    frequency_hz: float
    frequency_se_hz: float
    t60_s: float
    t60_se_s: float
    """from the noise, from a later and shorter stretch, and from how far the sources disagree"""
    t60_noise_se_s: float
    """from the noise alone, as if the model were true"""
    t60_stretch_se_s: float
    """from a later and shorter stretch alone: what all sources may have wrong alike"""
    level_db: tuple[float, ...]
    """rms at the onset in each source, dB re 20 µPa or re full scale"""
    t60_each_s: tuple[float | None, ...]
    """as each source alone reads it, with the common order; None where it hardly has the mode"""
    frequency_each_hz: tuple[float | None, ...]
    """the same of the frequency"""
    order: int
    """modes fitted together around it"""
    unexplained_share: float
    """of the energy within 12 Hz, beyond the noise, over all sources"""
    doubts: tuple[Doubt, ...]


@dataclass(frozen=True, eq=False)
class Source:
    """One channel or strike, and what was found in it alone."""

    sound: Sound
    onset_s: float
    partials: tuple[Partial, ...]


def find(sources: Sequence[Source]) -> tuple[SharedPartial, ...]:
    """Partials with poles common to one-channel sources, loudest first; empty where too little rings on.

    Each source's own partials say where to look; around each place the poles are fitted to all sources at
    once, see `shared_fit.fit` for the criterion of the order.

    Raises
    ------
    SoundError
        Fewer than two sources, or rates that differ.
    """
    if len(sources) < 2 or len({s.sound.rate_hz for s in sources}) > 1:
        raise SoundError("poles are shared by two or more sounds of one rate; convert them first")
    sources = [Source(*ringing_part.of(s.sound, s.onset_s), s.partials) for s in sources]
    with mode_search.one_thread():
        ready = _Rings.of(sources, START_S)
        later = _Rings.of(sources, START_S + LATER_S, share=SHORTER)
        if ready is None or later is None:
            return ()
        found = [p for span in _spans(sources) for p in _around(span, ready, later)]
    found = [p for p in found if p.unexplained_share < LEAST_EXPLAINED]
    loudest = max((max(p.level_db) for p in found), default=0.0)
    kept = [p for p in found if max(p.level_db) > loudest + WEAKEST_DB]
    return tuple(sorted(kept, key=lambda p: (-max(p.level_db), p.frequency_hz)))


@dataclass(frozen=True, eq=False)
class _Rings:
    """What rings on in each source, over one length, and what is left of it without the partials found."""

    sources: Sequence[Source]
    lead_s: tuple[float, ...]
    """from the onset, of each source"""
    rings: tuple[Ring, ...]
    modes: tuple[Modes, ...]
    left: tuple[np.ndarray, ...]

    @staticmethod
    def of(sources: Sequence[Source], lead_s: float, *, share: float = 1.0) -> "_Rings | None":
        starts = [
            mode_search.loudest_moment(s.sound.only_channel(), s.onset_s, s.sound.rate_hz)
            + round(lead_s * s.sound.rate_hz)
            for s in sources
        ]
        length = min(s.sound.n_samples - at for s, at in zip(sources, starts, strict=True))
        rings = [
            Ring.of(s.sound.only_channel()[at : at + int(share * length)], s.sound.rate_hz)
            for s, at in zip(sources, starts, strict=True)
        ]
        kept = [r for r in rings if r is not None]
        if len(kept) < len(rings):
            return None
        leads = [at / s.sound.rate_hz - s.onset_s for s, at in zip(sources, starts, strict=True)]
        present = [
            modes.advanced(unexplained.as_modes(s.partials, s.sound.reference), by)
            for s, by in zip(sources, leads, strict=True)
        ]
        left = []
        for ring, own in zip(kept, present, strict=True):
            spectrum = ring.spectrum.copy()
            modes.add(spectrum, own, -1.0, bin_hz=ring.bin_hz, frame=ring.frame)
            left.append(spectrum)
        return _Rings(sources, tuple(leads), tuple(kept), tuple(present), tuple(left))

    def band(self, low_hz: float, high_hz: float) -> Band:
        """The bins around a span, of each source, without the partials elsewhere."""
        first = self.rings[0]
        where = first.band(low_hz - HALF_BAND_HZ, high_hz + HALF_BAND_HZ)
        bin_hz = first.bin_hz[where]
        rows = []
        for own, left in zip(self.modes, self.left, strict=True):
            inside = (own.frequency_hz >= low_hz) & (own.frequency_hz <= high_hz)
            rows.append(left[where] + modes.spectrum(own.subset(inside), bin_hz, first.frame))
        return Band(np.array(rows), bin_hz, first.frame)


def _spans(sources: Sequence[Source]) -> list[tuple[float, float]]:
    """Lowest and highest frequency of each neighbourhood of partials, over all sources."""
    spans: list[tuple[float, float]] = []
    for hz in sorted(p.frequency_hz for s in sources for p in s.partials):
        if spans and hz - spans[-1][1] < TOGETHER_HZ:
            spans[-1] = (spans[-1][0], hz)
        else:
            spans.append((hz, hz))
    return spans


def _around(span: tuple[float, float], ready: _Rings, later: _Rings) -> list[SharedPartial]:
    band = ready.band(*span)
    made = shared_fit.fit(band)
    if made is None:
        return []
    again = shared_fit.polished(later.band(*span), made.decay_per_s, made.frequency_hz)
    near = (made.frequency_hz > span[0] - TOGETHER_HZ) & (made.frequency_hz < span[1] + TOGETHER_HZ)
    near &= mode_search.lost_db(made.decay_per_s, max(ready.lead_s)) < mode_search.LARGEST_EXTRAPOLATION_DB
    read = _Readings(made, again, shared_fit.alone(band, made), _unexplained(made, band, ready, span))
    return [_described(int(i), read, ready) for i in np.flatnonzero(near)]


@dataclass(frozen=True, eq=False)
class _Readings:
    """Of one neighbourhood: the fit, that of a later and shorter stretch, and that of each source alone."""

    made: SharedFit
    again: SharedFit | None
    alone: Sequence[SharedFit | None]
    unexplained_share: float


def _described(i: int, read: _Readings, ready: _Rings) -> SharedPartial:
    made = read.made
    decay, noise_se = float(made.decay_per_s[i]), float(made.relative_decay_se[i])
    turn = np.exp(decay * np.array(ready.lead_s))
    rms = np.sqrt(2.0) * np.abs(made.amplitude[:, i]) * turn
    moved, moved_se = _moved(i, made, read.again)
    each = _each(i, made, read.alone)
    spread, apart = _spread(each)
    stretch = np.sqrt(max(0.0, moved**2 - moved_se**2)) if np.isfinite(moved_se) else 0.0
    relative = float(min(np.sqrt(noise_se**2 + spread**2 + stretch**2), LARGEST_RELATIVE_SE))
    doubts = partial_doubts.of_shared(
        moved=moved, moved_se=moved_se, unexplained_share=read.unexplained_share, apart=apart
    )
    t60_s = LN_1000 / decay
    return SharedPartial(
        frequency_hz=float(made.frequency_hz[i]),
        frequency_se_hz=float(made.frequency_se_hz[i]),
        t60_s=t60_s,
        t60_se_s=t60_s * relative,
        t60_noise_se_s=t60_s * noise_se,
        t60_stretch_se_s=float(t60_s * min(stretch, LARGEST_RELATIVE_SE)),
        level_db=tuple(
            float(20 * np.log10(max(r, 1e-300) / s.sound.reference))
            for r, s in zip(rms, ready.sources, strict=True)
        ),
        t60_each_s=tuple(None if one is None else LN_1000 / float(np.exp(one[0])) for one in each),
        frequency_each_hz=tuple(
            None if one is None or fit is None else float(fit.frequency_hz[i])
            for one, fit in zip(each, read.alone, strict=True)
        ),
        order=len(made.decay_per_s),
        unexplained_share=read.unexplained_share,
        doubts=doubts,
    )


def _moved(i: int, made: SharedFit, again: SharedFit | None) -> tuple[float, float]:
    """ln decay of the later, shorter reading less that of the fit, and its standard error from the noise."""
    if again is None:
        return 0.0, float("inf")
    own, other = float(made.relative_decay_se[i]), float(again.relative_decay_se[i])
    # of two readings that share data the difference has the difference of the variances (Hausman 1978)
    variance = max(other**2 - own**2, 0.25 * other**2)
    return float(np.log(again.decay_per_s[i] / made.decay_per_s[i])), float(np.sqrt(variance))


def _each(i: int, made: SharedFit, alone: Sequence[SharedFit | None]) -> list[tuple[float, float] | None]:
    """ln decay and its standard error of each source alone; None where it hardly has the mode."""
    loudest = np.abs(made.amplitude[:, i]).max() * 10 ** (HEARD_DB / 20)
    return [
        (float(np.log(f.decay_per_s[i])), float(f.relative_decay_se[i]))
        if f is not None and abs(made.amplitude[c, i]) > loudest and f.relative_decay_se[i] < LEAST_KNOWN
        else None
        for c, f in enumerate(alone)
    ]


def _spread(each: Sequence[tuple[float, float] | None]) -> tuple[float, float]:
    """Standard deviation of ln T60 between the sources beyond their noise; ln of the range if it stands out.

    The sources are all there are, not a sample of many: their spread is not divided by their number.
    """
    kept = [one for one in each if one is not None]
    if len(kept) < 2:
        return 0.0, 0.0
    log_decay, errors = np.array(kept).T
    between = max(0.0, float(log_decay.var(ddof=1)) - float((errors**2).mean()))
    weight = errors**-2.0
    apart = log_decay - (weight * log_decay).sum() / weight.sum()
    ratio = np.sqrt(float((weight * apart**2).sum()) / (len(kept) - 1))
    return float(np.sqrt(between)), float(np.ptp(log_decay)) if ratio > SAME_ERRORS else 0.0


def _unexplained(made: SharedFit, band: Band, ready: _Rings, span: tuple[float, float]) -> float:
    """Share of the energy near the span that the modes leave beyond noise, over all sources."""
    near = (band.bin_hz > span[0] - TOGETHER_HZ) & (band.bin_hz < span[1] + TOGETHER_HZ)
    beyond, explained = 0.0, 0.0
    for c, ring in enumerate(ready.rings):
        model = modes.spectrum(made.of_source(c), band.bin_hz[near], band.frame)
        left = np.abs(band.targets[c, near] - model) ** 2
        noise = ring.late_noise(span[0] - 2 * HALF_BAND_HZ, span[1] + 2 * HALF_BAND_HZ)
        beyond += max(0.0, float(left.sum()) - noise * (1.5 * len(left) + 4.0 * np.sqrt(len(left))))
        explained += float((np.abs(model) ** 2).sum())
    return beyond / max(explained, 1e-300)
