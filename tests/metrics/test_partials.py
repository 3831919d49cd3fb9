"""Partials of sounds made from known ones: the bars, the standard errors, close pairs, bent decays."""

import numpy as np
import pytest

from listening.audio.sound import Sound
from listening.errors import SoundError
from listening.metrics.ringing import mode_kernels, mode_search, modes, partials
from tests.metrics.signals import RATE_HZ, noise_rms_for, strike

PEAK = 0.1
# SNR in dB -> largest error of T60 (share) and of frequency (cent)
BARS = {60: (0.001, 0.01), 40: (0.005, 0.01), 30: (0.015, 0.05), 20: (0.05, 0.1)}


def _five(rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    while True:
        frequencies = np.sort(rng.uniform(300, 6000, 5))
        if np.diff(frequencies).min() > 60:
            return frequencies, np.exp(rng.uniform(np.log(0.5), np.log(6.0), 5))


def _found(pressure: np.ndarray, rate_hz: int = RATE_HZ) -> list[partials.Partial]:
    return sorted(partials.find(Sound(pressure, rate_hz)), key=lambda p: (p.frequency_hz, p.t60_s))


def _cases(snr_db: int, n_cases: int, seed: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Errors of T60 (share) and frequency (cent), and both over their standard errors, partial by partial."""
    rng, rows = np.random.default_rng([seed, snr_db]), []
    for _ in range(n_cases):
        frequencies, t60_s = _five(rng)
        pressure = strike(
            frequencies,
            t60_s,
            [PEAK] * 5,
            noise_rms=noise_rms_for(PEAK, snr_db),
            seed=int(rng.integers(2**31)),
        )
        found = _found(pressure)
        assert len(found) == 5
        for p, f, t in zip(found, frequencies, t60_s, strict=True):
            cent = 1200 * np.log2(p.frequency_hz / f)
            rows.append(
                [
                    p.t60_s / t - 1,
                    cent,
                    (p.t60_s - t) / p.t60_noise_se_s,
                    (p.frequency_hz - f) / p.frequency_se_hz,
                ]
            )
    table = np.array(rows)
    return table[:, 0], table[:, 1], table[:, 2:]


@pytest.mark.parametrize("snr_db", list(BARS))
def test_t60_and_frequency_meet_the_bars(snr_db: int) -> None:
    """6 random cases of 5 partials at each signal-to-noise ratio; bench/metrics.py runs more."""
    t60_error, cent_error, _ = _cases(snr_db, 6, seed=11)
    assert np.abs(t60_error).max() < BARS[snr_db][0]
    assert np.abs(cent_error).max() < BARS[snr_db][1]


def test_standard_errors_cover() -> None:
    """100 partials, T60 (errors from noise alone) and frequency: 95 % lie within 1.96 standard errors.

    200 nearly independent draws: 95 % ± 3 binomial standard deviations is 0.904 and above.
    """
    _, _, z = _cases(30, 20, seed=12)
    assert (np.abs(z) < 1.96).mean() > 0.904
    assert 0.8 < np.sqrt((z**2).mean()) < 1.25


def test_level_is_the_rms_at_the_onset() -> None:
    pressure = strike([1000.0], [1.0], [PEAK], noise_rms=1e-5)
    (found,) = partials.find(Sound(pressure, RATE_HZ, 1.0))
    # the onset is known to about 1 ms, 0.06 dB of this decay
    assert found.level_db == pytest.approx(20 * np.log10(PEAK / np.sqrt(2) / 20e-6), abs=0.1)
    assert found.snr_db == pytest.approx(20 * np.log10(PEAK / np.sqrt(2) / 1e-5) + 0.8, abs=0.3)
    assert found.quality == pytest.approx(np.pi * 1000 / np.log(1000), rel=1e-3)
    assert found.damping_ratio == pytest.approx(0.5 / found.quality)


@pytest.mark.parametrize("seed", range(6))
def test_a_pair_1_hz_apart_at_40_db_is_two_partials(seed: int) -> None:
    rng = np.random.default_rng(seed)
    low, t60_s = rng.uniform(300, 6000), rng.uniform(1.5, 4.0, 2)
    pressure = strike([low, low + 1], t60_s, [PEAK, 0.8 * PEAK], noise_rms=noise_rms_for(PEAK, 40), seed=seed)
    first, second = _found(pressure)
    assert first.frequency_hz == pytest.approx(low, abs=0.005)
    assert second.frequency_hz == pytest.approx(low + 1, abs=0.005)
    assert [first.t60_s, second.t60_s] == pytest.approx(t60_s, rel=0.005)
    assert first.beating == (second.frequency_hz,)
    assert second.beat_rates_hz == pytest.approx([1.0], abs=0.01)
    # strengths 1 and 0.8: 20 lg(1.8 / 0.2) = 19.1 dB
    assert first.beat_depths_db == pytest.approx([20 * np.log10(1.8 / 0.2)], abs=0.5)
    assert second.beat_depths_db == first.beat_depths_db
    assert first.two_stage == ()


@pytest.mark.parametrize("seed", range(6))
def test_a_decay_in_two_stages_is_two_partials_at_one_frequency(seed: int) -> None:
    f = np.random.default_rng(seed).uniform(300, 6000)
    pressure = strike([f, f], [0.8, 6.0], [PEAK, 0.03], noise_rms=noise_rms_for(PEAK, 40), seed=seed)
    fast, slow = sorted(_found(pressure), key=lambda p: p.t60_s)
    assert fast.t60_s == pytest.approx(0.8, rel=0.02)
    assert slow.t60_s == pytest.approx(6.0, rel=0.02)
    assert fast.two_stage == (slow.t60_s,)
    assert fast.beating == ()


def test_noise_alone_has_no_partials() -> None:
    for seed in range(5):
        assert (
            partials.find(Sound(strike([], [], [], noise_rms=0.01, duration_s=2.0, seed=seed), RATE_HZ)) == ()
        )


def test_a_sound_that_hardly_rings_has_no_partials() -> None:
    assert partials.find(Sound(strike([1000], [0.5], [PEAK], duration_s=0.3), RATE_HZ)) == ()


@pytest.mark.parametrize("rate_hz", [44_100, 96_000])
def test_the_rate_does_not_matter(rate_hz: int) -> None:
    wanted = [(700.0, 1.2), (2500.0, 0.9), (2508.0, 1.1)]
    f, t = zip(*wanted, strict=True)
    found = _found(strike(f, t, [PEAK] * 3, noise_rms=1e-4, rate_hz=rate_hz, duration_s=3.0), rate_hz)
    for p, (frequency_hz, t60_s) in zip(found, wanted, strict=True):
        assert p.frequency_hz == pytest.approx(frequency_hz, abs=0.005)
        assert p.t60_s == pytest.approx(t60_s, rel=0.005)


def test_a_gain_moves_levels_alone() -> None:
    pressure = strike([700.0, 2500.0], [1.2, 0.9], [PEAK] * 2, noise_rms=1e-4, duration_s=2.0)
    for p, q in zip(_found(pressure), _found(pressure * 0.1), strict=True):
        assert p.level_db - q.level_db == pytest.approx(20.0, abs=1e-6)
        assert q.t60_s == pytest.approx(p.t60_s, rel=1e-6)


def test_weak_partials_beside_strong_ones_are_found() -> None:
    pressure = strike(
        [1000.0, 1090.0, 3000.0], [2.0, 2.0, 1.0], [PEAK, PEAK / 300, PEAK / 300], noise_rms=1e-5
    )
    assert [round(p.frequency_hz) for p in _found(pressure)] == [1000, 1090, 3000]


def test_mean_t60_weighs_with_power_and_leaves_out_the_weak() -> None:
    made = partials.find(
        Sound(strike([700.0, 2500.0], [1.2, 0.6], [PEAK, PEAK / 2], noise_rms=1e-5), RATE_HZ)
    )
    assert partials.mean_t60_s(made) == pytest.approx((1.2 * 4 + 0.6) / 5, rel=0.01)
    assert partials.mean_t60_s(made, within_db=3.0) == pytest.approx(1.2, rel=0.01)
    assert partials.inharmonicity(made) == pytest.approx((1.0, 2500 / 700), rel=1e-6)


def test_derivatives_of_the_spectrum_agree_with_finite_differences() -> None:
    frame, bin_hz = modes.Frame(48_000, 48_000), np.arange(980.0, 1020.0)
    target = np.zeros(len(bin_hz), dtype=complex)
    at = np.array(
        [[np.log(6.0), 2 * np.pi * 1000.3, 0.7, -0.4], [np.log(3.0), 2 * np.pi * 1002.0, -0.2, 0.5]]
    )

    def equations(packed: np.ndarray) -> tuple[np.ndarray, np.ndarray, float]:
        shapes, room = np.empty((2, 4, len(bin_hz)), complex), np.empty((2, len(bin_hz), 8))
        mode_kernels.fill_shapes(packed, bin_hz, (frame.n_samples, frame.rate_hz), shapes)
        made: tuple[np.ndarray, np.ndarray, float] = mode_kernels.equations(
            packed, shapes, target, frame.rate_hz, room
        )
        return made

    _, gradient, _ = equations(at)
    for i, step in np.ndindex(2, 4):
        moved = [at.copy(), at.copy()]
        for side, sign in zip(moved, (1, -1), strict=True):
            side[i, step] += sign * 1e-5
        costs = [equations(m)[2] for m in moved]
        assert gradient[4 * i + step] == pytest.approx(-(costs[0] - costs[1]) / 4e-5, rel=1e-5, abs=1e-7)


def test_the_spectrum_of_modes_is_that_of_their_samples() -> None:
    made = modes.Modes(np.array([5.0, 2.0]), np.array([440.0, 1003.3]), np.array([0.5 - 0.2j, 0.1 + 0.3j]))
    time_s = np.arange(4800) / 48_000
    samples = sum(
        2 * np.real(a * np.exp((-d + 2j * np.pi * f) * time_s))
        for d, f, a in zip(made.decay_per_s, made.frequency_hz, made.amplitude, strict=True)
    )
    frame = modes.Frame(4800, 48_000)
    found = modes.spectrum(made, frame.bin_hz(np.arange(2401)), frame)
    np.testing.assert_allclose(found, np.fft.rfft(samples), atol=1e-9)


def test_silence_and_several_channels_are_refused() -> None:
    with pytest.raises(SoundError, match="silence"):
        partials.find(Sound(np.zeros(RATE_HZ), RATE_HZ))
    with pytest.raises(SoundError, match="2 channels"):
        partials.find(Sound(np.ones((RATE_HZ, 2)), RATE_HZ))


def test_searching_a_short_ring_finds_nothing() -> None:
    assert mode_search.search(np.ones(4800), RATE_HZ, 0.0, most=5) == []
