"""Poles common to channels and strikes: one frequency and one T60 for all, within their limits."""

import numpy as np
import pytest

from listening.audio import wav
from listening.audio.sound import Sound
from listening.errors import SoundError
from listening.metrics import channels
from listening.metrics.ringing import partial_doubts, partials, shared_fit, shared_partials, unexplained
from listening.metrics.ringing.mode_ring import Ring
from listening.metrics.ringing.shared_fit import Band
from listening.metrics.ringing.shared_partials import SharedPartial, Source
from listening.metrics.striking import onset
from tests.metrics import faults
from tests.metrics.signals import DEMO, RATE_HZ, REAL, noise_rms_for, strike

LEAD_S = 0.1


def _source(pressure: np.ndarray) -> Source:
    sound = Sound(pressure, RATE_HZ)
    return Source(sound, LEAD_S, partials.find(sound, onset_s=LEAD_S))


def _stereo(seed: int) -> tuple[list[float], list[float], list[Source]]:
    """The modes of a random bell with other amplitudes and noise in each channel."""
    _, truth = faults.random_bell(seed)
    hz, t60_s = [f for f, _ in truth], [t[0] for _, t in truth]
    gains = np.random.default_rng(seed).uniform(0.01, 0.1, (2, len(hz)))
    made = [strike(hz, t60_s, g, noise_rms=1e-4, seed=10 * seed + c) for c, g in enumerate(gains)]
    return hz, t60_s, [_source(m) for m in made]


def _band(spectra: list[Ring], low_hz: float, high_hz: float) -> Band:
    where = spectra[0].band(low_hz, high_hz)
    return Band(np.array([s.spectrum[where] for s in spectra]), spectra[0].bin_hz[where], spectra[0].frame)


def _two_channels(hz: list[float], t60_s: list[float], snr_db: float, seed: int) -> Band:
    rng, spectra = np.random.default_rng(seed), []
    for channel in range(2):
        peaks = 0.1 * rng.uniform(0.4, 1.0, len(hz))
        pressure = strike(hz, t60_s, peaks, noise_rms=noise_rms_for(0.1, snr_db), seed=10 * seed + channel)
        ring = Ring.of(pressure[round((LEAD_S + 0.01) * RATE_HZ) :], RATE_HZ)
        assert ring is not None
        spectra.append(ring)
    return _band(spectra, 1450.0, 1550.0)


def test_two_standard_errors_of_common_poles_cover_the_truth() -> None:
    """48 modes in stereo; hardly one is flagged."""
    errors, known = [], 0
    for seed in range(4):
        hz, t60_s, sources = _stereo(seed)
        found = shared_partials.find(sources)
        for f, t in zip(hz, t60_s, strict=True):
            p = max((p for p in found if abs(p.frequency_hz - f) < 2.0), key=lambda p: max(p.level_db))
            errors.append(abs(p.t60_s - t) / p.t60_se_s)
            known += not p.doubts
    assert len(errors) == 48
    assert np.mean(np.array(errors) < 2) >= 0.93
    assert max(errors) < 4
    assert known >= 47


@pytest.mark.parametrize("snr_db", [20, 40, 60])
@pytest.mark.parametrize(
    ("hz", "t60_s"),
    [([1500.0], [1.2]), ([1500.0, 1501.0], [1.5, 2.0]), ([1500.0, 1503.0, 1508.0], [1.0, 1.2, 1.5])],
    ids=["one", "a pair 1 Hz apart", "three"],
)
def test_the_order_is_the_number_of_modes(hz: list[float], t60_s: list[float], snr_db: float) -> None:
    """At orders told apart by far: ESTER and the information criterion leave no other."""
    for seed in range(2):
        made = shared_fit.fit(_two_channels(hz, t60_s, snr_db, seed))
        assert made is not None
        assert len(made.frequency_hz) == len(hz)


def test_a_weak_mode_beside_a_strong_one_is_seen_from_three_strikes() -> None:
    """The demo's dome C: 1319.6 and 1320.4 Hz, T60 2.2 s, 15 dB apart (its script); one mode reads 1.95 s."""
    sources = []
    for i in (1, 2, 3):
        sound = wav.load(DEMO / f"dome_c-free-{i}.flac")
        start_s = onset.find(sound).time_s
        sources.append(Source(sound, start_s, partials.find(sound, onset_s=start_s)))
    found = [p for p in shared_partials.find(sources) if p.frequency_hz < 2000]
    assert sorted(p.frequency_hz for p in found) == pytest.approx([1319.604, 1320.396], abs=0.01)
    assert [p.t60_s for p in found] == pytest.approx([2.2, 2.2], rel=0.01)
    assert not any(p.doubts for p in found)


def test_standard_errors_from_noise_are_those_that_repeated_noise_gives() -> None:
    """25 draws of a pair: the rms of error over standard error is 1, ± 3/sqrt(2 * 50) = 0.3."""
    z = []
    for seed in range(25):
        made = shared_fit.fit(_two_channels([1500.0, 1501.0], [1.5, 2.0], 30, seed))
        assert made is not None
        t60_s = shared_fit.LN_1000 / made.decay_per_s[np.argsort(made.frequency_hz)]
        z += list(np.log(t60_s / [1.5, 2.0]) / made.relative_decay_se)
    assert 0.7 < np.sqrt(np.mean(np.square(z))) < 1.3


def test_a_pair_that_cancels_in_one_channel_is_read_from_the_other() -> None:
    """In one channel the weaker of two modes is 40 dB down; alone it reads one mode there."""
    hz, t60_s, noise = [1500.0, 1500.8], [1.5, 2.2], noise_rms_for(0.1, 40)
    sources = [
        _source(strike(hz, t60_s, peaks, noise_rms=noise, seed=seed))
        for seed, peaks in enumerate([(0.1, 0.001), (0.1, 0.08)])
    ]
    assert len(sources[0].partials) == 1
    found = sorted(shared_partials.find(sources), key=lambda p: p.frequency_hz)
    assert [p.frequency_hz for p in found] == pytest.approx(hz, abs=0.01)
    assert [p.t60_s for p in found] == pytest.approx(t60_s, rel=0.01)
    assert found[1].t60_each_s[0] is None


def test_channels_that_do_not_share_a_pole_are_doubted() -> None:
    pressures = [strike([1500.0], [t], [0.1], noise_rms=noise_rms_for(0.1, 25)) for t in (1.0, 1.2)]
    (found,) = shared_partials.find([_source(p) for p in pressures])
    assert partial_doubts.APART in [d.kind for d in found.doubts]
    assert found.t60_se_s > 0.05 * found.t60_s


def test_levels_are_those_of_each_channel() -> None:
    pressures = [strike([1500.0], [1.0], [peak], noise_rms=1e-5, seed=1) for peak in (0.1, 0.01)]
    (found,) = shared_partials.find([_source(p) for p in pressures])
    assert found.level_db == pytest.approx([20 * np.log10(p / np.sqrt(2)) for p in (0.1, 0.01)], abs=0.1)


def test_other_rates_and_one_source_are_refused() -> None:
    one = _source(strike([1500.0], [1.0], [0.1], noise_rms=1e-5))
    with pytest.raises(SoundError, match="two or more"):
        shared_partials.find([one])


def _real(name: str) -> tuple[SharedPartial, ...]:
    bell = wav.load(REAL / f"{name}.flac")
    start_s = onset.find(channels.loudest(bell)).time_s
    sides = [bell.channel(c) for c in (0, 1)]
    return shared_partials.find([Source(s, start_s, partials.find(s, onset_s=start_s)) for s in sides])


@pytest.mark.skipif(not REAL.is_dir(), reason=f"{REAL}: install sonic-pi-samples")
def test_a_partial_of_a_real_bell_has_one_t60() -> None:
    """It read 15.1 ± 0.25 s in one channel and 24.7 ± 1.2 s in the other: two modes lie beside it."""
    found = min(_real("perc_bell"), key=lambda p: abs(p.frequency_hz - 1309.3))
    first, second = (t for t in found.t60_each_s if t is not None)
    assert abs(first - second) < 1.96 * np.sqrt(2) * found.t60_se_s
    assert found.doubts  # what rings there is more than one mode


def test_what_no_partial_explains_is_its_share_of_the_energy() -> None:
    """A band of noise that dies away like the bell, of a tenth of its energy; and none at all."""
    pressure = strike([900.0, 1700.0], [1.5, 1.5], [0.1, 0.1], noise_rms=1e-6)
    time_s = np.arange(len(pressure)) / RATE_HZ - LEAD_S
    rough = np.random.default_rng(2).standard_normal(len(pressure))
    rough *= np.where(time_s >= 0, np.exp(-np.log(1000) * time_s / 1.5), 0.0)
    rough *= np.sqrt((pressure**2).sum() / 9.0 / (rough**2).sum())
    for added, wanted in ((0.0, 0.0), (1.0, 0.1)):
        sound = Sound(pressure + added * rough, RATE_HZ)
        clean = partials.find(Sound(pressure, RATE_HZ), onset_s=LEAD_S)
        assert unexplained.share(sound, LEAD_S, clean) == pytest.approx(wanted, abs=0.02)
