"""What the mixer renders: the clips themselves, and switches that nobody hears as a click."""

import numpy as np
import pytest

from listening.audio.mixer import FADE_S, InTurn, Switched, raised_cosine
from listening.errors import SoundError

RATE_HZ = 48_000
SECOND_DIFFERENCE_RATIO = 1.05  # bound of the station's requirements
SPLATTER_DB = -100.0  # bound of the station's requirements
SPLATTER_FROM_HZ = 6000.0


def tone(frequency_hz: float, phase: float = 0.0, amplitude: float = 0.5, seconds: float = 1.0) -> np.ndarray:
    t = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    return (amplitude * np.sin(2 * np.pi * frequency_hz * t + phase)).astype(np.float32)[:, np.newaxis]


def rendered(mixer: Switched | InTurn, block: int = 512) -> np.ndarray:
    blocks = []
    while len(blocks) < 10_000:
        blocks.append(mixer.render(block).copy())
        if len(blocks[-1]) < block:
            return np.concatenate(blocks)
    raise AssertionError("the programme has no end")


def switched_at(frame: int, clips: list[np.ndarray], fade_s: float | None = None) -> np.ndarray:
    """One channel of a programme in which the second clip is asked for at `frame`."""
    more = {} if fade_s is None else {"fade_s": fade_s}
    mixer = Switched(clips, rate_hz=RATE_HZ, loops=False, **more)
    first = mixer.render(frame).copy()
    mixer.switch(1)
    return np.concatenate([first, rendered(mixer)])[:, 0].astype(np.float64)


def splatter_db(samples: np.ndarray) -> float:
    """Energy above 6 kHz over all energy, behind a window that leaks less than the bound."""
    power = np.abs(np.fft.rfft(samples * np.kaiser(len(samples), 24))) ** 2
    frequency_hz = np.fft.rfftfreq(len(samples), 1 / RATE_HZ)
    return float(10 * np.log10(power[frequency_hz > SPLATTER_FROM_HZ].sum() / power.sum()))


def second_difference_ratio(samples: np.ndarray, clips: list[np.ndarray]) -> float:
    steady = max(np.abs(np.diff(clip[:, 0].astype(np.float64), 2)).max() for clip in clips)
    return float(np.abs(np.diff(samples, 2)).max() / steady)


PAIRS = {
    "another phase": [tone(1000), tone(1000, phase=2.0)],
    "opposite phase": [tone(1000), tone(1000, phase=np.pi)],
    "another level": [tone(1000), tone(1000, amplitude=0.25)],
    "another pitch": [tone(1000), tone(1500, phase=1.0)],
}


@pytest.mark.parametrize("clips", PAIRS.values(), ids=PAIRS.keys())
@pytest.mark.parametrize("frame", [24_000, 24_013])
def test_a_switch_makes_no_click(clips: list[np.ndarray], frame: int) -> None:
    soft = switched_at(frame, clips)
    assert second_difference_ratio(soft, clips) <= SECOND_DIFFERENCE_RATIO
    assert splatter_db(soft) <= SPLATTER_DB


def test_a_hard_switch_fails_both_bounds() -> None:
    clips = PAIRS["another phase"]
    hard = switched_at(24_013, clips, fade_s=0.0)
    assert second_difference_ratio(hard, clips) > SECOND_DIFFERENCE_RATIO
    assert splatter_db(hard) > -40.0


def test_switching_between_identical_clips_changes_no_bit() -> None:
    noise = np.random.default_rng(1).standard_normal((20_000, 1)).astype(np.float32)
    out = switched_at(5000, [noise, noise.copy()])
    assert np.array_equal(out, noise[:, 0].astype(np.float64))


def test_the_fade_takes_15_ms_and_keeps_the_place_in_the_sound() -> None:
    one, two = np.zeros((4800, 1), np.float32), np.ones((4800, 1), np.float32)
    out = switched_at(1000, [one, two])
    assert np.array_equal(out[:1000], np.zeros(1000))
    assert np.array_equal(out[1720:], np.ones(4800 - 1720))  # 15 ms are 720 frames
    assert np.all(np.diff(out[1000:1720]) > 0)
    assert out[1000:1720] + out[1000:1720][::-1] == pytest.approx(1.0, abs=1e-6)  # float32


def test_a_loop_goes_round_without_a_gap() -> None:
    ramp = np.arange(1000, dtype=np.float32)[:, np.newaxis]
    mixer = Switched([ramp, ramp], rate_hz=RATE_HZ, loops=True)
    out = np.concatenate([mixer.render(300).copy() for _ in range(10)])[:, 0]
    assert np.array_equal(out, np.tile(ramp[:, 0], 3))


def test_clips_in_turn_are_the_clips_with_the_gap_between() -> None:
    rng = np.random.default_rng(2)
    one, two = (rng.standard_normal((n, 1)).astype(np.float32) for n in (1000, 700))
    mixer = InTurn([one, two], gap_frames=50, lead_in_frames=20)
    assert mixer.n_frames == 1770
    out = rendered(mixer, block=64)
    expected = np.concatenate([np.zeros(20), one[:, 0], np.zeros(50), two[:, 0]])
    assert np.array_equal(out[:, 0], expected)
    assert np.array_equal(out[:, 1], expected)
    assert [mixer.clip_at(f) for f in (0, 19, 20, 1019, 1020, 1069, 1070, 1769)] == [
        None,
        None,
        0,
        0,
        None,
        None,
        1,
        1,
    ]


def test_two_channels_stay_apart() -> None:
    both = np.random.default_rng(3).standard_normal((100, 2)).astype(np.float32)
    assert np.array_equal(rendered(InTurn([both], gap_frames=0, lead_in_frames=0)), both)


def test_three_channels_are_refused() -> None:
    with pytest.raises(SoundError, match="3 channels"):
        InTurn([np.zeros((10, 3), np.float32)], gap_frames=0, lead_in_frames=0)


def test_the_fade_is_a_raised_cosine() -> None:
    fade = raised_cosine(720)
    assert fade[359] + fade[360] == pytest.approx(1.0, abs=1e-12)
    assert fade[0] == pytest.approx((np.pi * 0.5 / 720) ** 2 / 4, rel=1e-5)  # series of (1 - cos x) / 2


def _looped(**more: float) -> tuple[Switched, np.ndarray]:
    """A loop of one tone of whole periods, so that every jump but a faded one would show as a step."""
    t = np.arange(RATE_HZ) / RATE_HZ
    tone = np.float32(0.5) * np.sin(2 * np.pi * 100.0 * t).astype(np.float32)[:, None]
    return Switched([tone, tone], rate_hz=RATE_HZ, loops=True, **more), tone[:, 0]


def test_a_loop_started_again_goes_on_from_its_start() -> None:
    mixer, tone = _looped()
    mixer.render(RATE_HZ // 3)
    mixer.again()
    heard = mixer.render(RATE_HZ // 2)[:, 0]
    faded = round(FADE_S * RATE_HZ)
    assert np.array_equal(heard[faded:], tone[faded : RATE_HZ // 2])


def test_a_part_of_a_loop_comes_round_without_a_step() -> None:
    """A 100 Hz tone moves by at most 2 pi 100 / rate of its amplitude a frame; the fade adds its slope."""
    mixer, _ = _looped()
    mixer.part(0.2031, 0.4017)
    heard = mixer.render(3 * RATE_HZ)[:, 0]
    most = 0.5 * 2 * np.pi * 100 / RATE_HZ + 2 * 0.5 * np.pi / 2 / round(FADE_S * RATE_HZ)
    assert np.abs(np.diff(heard)).max() <= most
    period = round(0.4017 * RATE_HZ) - round(0.2031 * RATE_HZ)
    settled = heard[RATE_HZ:]
    assert np.array_equal(settled[: RATE_HZ // 2], settled[period : period + RATE_HZ // 2])


@pytest.mark.parametrize("ends", [(0.0, 0.0), (1.0, 1.0), (0.9999, 1.0), (0.7, 0.2), (-3.0, 7.0)])
def test_a_part_stays_within_the_clips_and_is_never_shorter_than_two_fades(ends: tuple[float, float]) -> None:
    mixer, _ = _looped()
    mixer.part(*ends)
    assert len(mixer.render(2 * RATE_HZ)) == 2 * RATE_HZ
    assert 0.0 <= mixer.share_at(2 * RATE_HZ) <= 1.0


def test_a_switch_and_a_restart_at_the_end_of_a_part_lose_no_frame() -> None:
    mixer, _ = _looped()
    mixer.part(0.25, 0.5)
    for number in range(400):  # at every distance to the end of the part
        mixer.switch(number % 2)
        if number % 7 == 0:
            mixer.again()
        assert len(mixer.render(311)) == 311
    assert sum(mixer.energy_frames) == 400 * 311


def test_the_energy_of_a_clip_is_counted_with_the_gain_it_is_played_at() -> None:
    """What the dose is made of: frames times the square of the factor, by clip, switches included."""
    mixer = Switched([tone(1000), tone(1500)], rate_hz=RATE_HZ, loops=True)
    mixer.render(4800)
    mixer.gain(0, -6.0)
    mixer.render(9600)
    # the block under way ends its fade at the new gain: all 9600 frames count as it
    assert mixer.energy_frames[0] == pytest.approx(4800 + 9600 * 10 ** (-6.0 / 10), rel=1e-6)
    assert mixer.energy_frames[1] == 0.0
    mixer.switch(1)
    mixer.render(2400)
    assert mixer.energy_frames[1] == pytest.approx(2400, rel=1e-6)
    assert mixer.energy_frames[0] == pytest.approx(4800 + 9600 * 10 ** (-6.0 / 10), rel=1e-6)


def test_a_clip_sounds_with_its_gain() -> None:
    """6 dB less is 10 ** (-6 / 20) of the samples."""
    clips = [tone(1000, seconds=0.1), tone(1500, seconds=0.1)]
    out = rendered(Switched(clips, rate_hz=RATE_HZ, loops=False, gains_db=[-6.0, 0.0]))
    assert out[:, 0] == pytest.approx(clips[0][:, 0] * 10 ** (-6 / 20), abs=1e-6)  # float32
