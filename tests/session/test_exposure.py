"""Dose: published allowances come out as printed, and every play of a sitting is counted."""

import tomllib
from pathlib import Path

import numpy as np
import pytest

from listening.audio import wav
from listening.audio.mixer import Mixer
from listening.audio.sound import Sound
from listening.audio.speaker import Played, Speaker
from listening.errors import SoundError, StudyError
from listening.records.sounds.level import Level
from listening.records.study import Study
from listening.session.seating import opening
from listening.session.sounding import exposure, tones
from listening.session.sounding.aloud import Aloud
from listening.session.sounding.clip_reading import Clips
from listening.session.sounding.player import Program
from listening.store.store import EventRow

PUBLISHED = tomllib.loads((Path(__file__).parents[1] / "published" / "exposure.toml").read_text())
RATE_HZ = 48_000


def level(**changes: object) -> Level:
    values: dict[str, object] = {
        "device": "default",
        "headphones": "HP 1",
        "coupler": "IEC 60318-1",
        "side": "left",
        "signal_db": -20.0,
        "reading_db": 74.0,
        "calibrated_at": "2030-01-01T00:00:00+00:00",
    }
    return Level.model_validate({**values, **changes})


@pytest.mark.parametrize("row", PUBLISHED["allowance"], ids=lambda row: row["id"])
def test_published_allowances(row: dict[str, float]) -> None:
    pascal = 20e-6 * 10 ** (row["level_db"] / 20)
    found = pascal**2 * row["hours"]
    assert found == pytest.approx(row["pascal_squared_hours"], abs=row["half_digit"])


def test_eight_hours_at_a_level_have_that_daily_level() -> None:
    pascal = 20e-6 * 10 ** (85.0 / 20)
    assert exposure.daily_level_db(8 * pascal**2) == pytest.approx(85.0, abs=1e-9)
    assert exposure.daily_level_db(4 * pascal**2) == pytest.approx(85.0 - 10 * np.log10(2), abs=1e-9)


def test_a_calibration_turns_samples_into_pascal() -> None:
    # by hand: the signal of -20 dB re full scale reads 74 dB, so full scale is 94 dB, which is 1.0024 Pa
    assert level().pascal_per_full_scale == pytest.approx(20e-6 * 10 ** (94 / 20), rel=1e-12)
    assert level(correction_db=-3.0).at_ear_db(0.0) == pytest.approx(91.0, abs=1e-9)


def test_the_exposure_of_runs_adds_up() -> None:
    kinds = [("opened", ""), ("sent", "0.5 x"), ("sent", "0.75 x"), ("opened", ""), ("sent", "0.25 x")]
    events = [EventRow("s", "t", kind, None, detail) for kind, detail in kinds]
    assert exposure.sent(events) == 1.0


def test_every_run_of_three_counts_with_its_last_word() -> None:
    kinds = [("sent", "1 x"), ("opened", ""), ("sent", "2 x"), ("opened", ""), ("void", ""), ("opened", "")]
    kinds += [("sent", "3 x"), ("sent", "4 x")]
    assert exposure.sent(EventRow("s", "t", kind, None, detail) for kind, detail in kinds) == 1 + 2 + 4
    assert exposure.sent([]) == 0.0


@pytest.mark.parametrize(
    ("level_db", "said"),
    [
        (79.99, ""),
        (80.0, ", above the lower action value of 80 dB"),
        (84.99, ", above the lower action value of 80 dB"),
        (85.0, ", above the upper action value of 85 dB"),
        (86.99, ", above the upper action value of 85 dB"),
        (87.0, ", above the limit of 87 dB"),
    ],
)
def test_action_values_are_told_from_their_value_on(level_db: float, said: str) -> None:
    """Directive 2003/10/EC, article 3. Full scale is 1 Pa here, so 8 h at a level are 8 * 3600 p^2."""
    squared = (20e-6 * 10 ** ((level_db + 1e-9) / 20)) ** 2
    assert exposure.words(8 * 3600 * squared, 1.0) == f"LEX,8h {level_db:.0f} dB(A){said}"


def test_a_louder_full_scale_counts_by_its_square() -> None:
    assert exposure.pascal_squared_hours(3600.0, 2.0) == 4.0


def test_without_calibration_no_dose_is_told() -> None:
    assert exposure.words(12.0, None) == "uncalibrated"
    assert exposure.words(0.0, 1.0) == "nothing played"
    assert "above the upper action value of 85 dB" in exposure.words(8 * 3600 * 0.3557**2 * 1.01, 1.0)


class Quick(Speaker):
    """A speaker that takes everything at once and plays nothing."""

    def start(self, mixer: Mixer, *, loops: bool = False, peak: float) -> None:
        self.check_ceiling(peak)
        self.mixer = mixer
        self.taken = mixer.n_frames
        mixer.render(mixer.n_frames)

    def stop(self) -> None: ...

    def played(self) -> Played:
        return Played(False, self.mixer.n_frames, self.taken, 0.0, None, "")


@pytest.fixture
def clips(tmp_path: Path) -> Clips:
    t = np.arange(RATE_HZ) / RATE_HZ
    for name, amplitude in (("loud", 0.5), ("soft", 0.05)):
        wav.save(tmp_path / f"{name}.wav", Sound(amplitude * np.sin(2 * np.pi * 1000 * t), RATE_HZ))
    return Clips(tmp_path, RATE_HZ)


def test_every_play_counts_its_a_weighted_energy(clips: Clips) -> None:
    player = Aloud(clips, Quick(RATE_HZ, now_s=lambda: 0.0))
    player.start(Program(("loud", "soft"), gap_s=0.1))
    player.start(Program(("loud",)))
    # a 1 kHz sine of amplitude a for 1 s: a²/2, A weighting 0 dB; its edges ring a little
    assert player.exposure() == pytest.approx(2 * 0.125 + 0.00125, rel=2e-3)


def test_half_a_play_counts_half(clips: Clips) -> None:
    speaker = Quick(RATE_HZ, now_s=lambda: 0.0)
    player = Aloud(clips, speaker)
    player.start(Program(("loud",)))
    speaker.taken //= 2
    assert player.exposure() == pytest.approx(0.0625, rel=2e-3)


def test_switched_sounds_count_for_the_time_they_sound(clips: Clips) -> None:
    player = Aloud(clips, Quick(RATE_HZ, now_s=lambda: 0.0))
    player.start(Program(("loud", "soft"), switching=True, start=1, gains_db=(0.0, 6.0)))
    assert player.exposure() == pytest.approx(0.00125 * 10**0.6, rel=2e-3)


def test_no_clip_above_the_ceiling_at_the_ear_starts(clips: Clips) -> None:
    # by hand: amplitude 0.5 is -9.03 dB re full scale (RMS), at 94 dB per full scale 84.97 dB
    allowed = Aloud(clips, Quick(RATE_HZ, now_s=lambda: 0.0), level(ceiling_db=85.0))
    allowed.start(Program(("loud",)))
    refused = Aloud(clips, Quick(RATE_HZ, now_s=lambda: 0.0), level(ceiling_db=84.9))
    with pytest.raises(SoundError, match=r"85\.0 dB LAFmax at the ear, the ceiling of this station is 84\.9"):
        refused.start(Program(("soft", "loud")))
    assert refused.exposure() == 0.0


def test_a_tone_of_the_hearing_check_keeps_the_ceiling_and_counts(clips: Clips) -> None:
    # by hand: -20 dB re full scale at 94 dB per full scale is 74 dB at the ear; A weighting at 1 kHz is 0 dB
    tone = Program((tones.name(1000.0, -20.0, "right"),))
    refused = Aloud(clips, Quick(RATE_HZ, now_s=lambda: 0.0), level(ceiling_db=73.0))
    with pytest.raises(SoundError, match="ceiling of this station"):
        refused.start(tone)
    allowed = Aloud(clips, Quick(RATE_HZ, now_s=lambda: 0.0), level(ceiling_db=74.5))
    allowed.start(tone)
    # 1 s at 0.01 mean square, less what two raised-cosine ramps of 50 ms take: 2 * 50 ms * (1 - 3/8)
    assert allowed.exposure() == pytest.approx(0.01 * (1 - 0.1 * 5 / 8), rel=2e-3)


def test_a_gain_cannot_lift_a_clip_above_the_ceiling(clips: Clips) -> None:
    player = Aloud(clips, Quick(RATE_HZ, now_s=lambda: 0.0), level(ceiling_db=70.0))
    player.start(Program(("soft", "soft"), switching=True, gains_db=(-6.0, -6.0)))
    with pytest.raises(SoundError, match="the ceiling of this station"):
        player.gain(1, 6.0)


def test_a_calibration_of_another_device_is_refused(tmp_path: Path) -> None:
    study = Study(tmp_path)
    assert opening.calibration(study, "default") is None
    level().save(study.level)
    assert opening.calibration(study, "default") == level()
    with pytest.raises(StudyError, match="calibrated on `default`, but the sound goes to `other`"):
        opening.calibration(study, "other")
