"""Isolation: what is asked moves by as much as was asked, everything else stays within its tolerance."""

from itertools import combinations
from pathlib import Path

import numpy as np
import pytest

from listening import cli
from listening.audio import wav
from listening.audio.sound import Sound
from listening.errors import SoundError, StudyError
from listening.metrics import measures
from listening.metrics.loud import loudness
from listening.records.protocols.isolation import Isolation
from listening.records.sounds.manifest import Manifest
from listening.stimuli import isolate, modal
from listening.stimuli.isolate import Asked, Variant
from listening.stimuli.trim import Window, trimmed
from tests.stimuli.conftest import Maker

ROOT = Path(__file__).resolve().parents[2]
TARGET_PHON = 88.0
WINDOW = Window(before_onset_s=0.05, length_s=1.8, fade_in_s=0.01, fade_out_s=0.2)
CROSSING = Isolation(base="dome_a/free", brightness_ratio=1.2, decay_ratio=1.6)


def _asked(isolation: Isolation, end_line: tuple[float, float] | None = None) -> Asked:
    return Asked(
        isolation=isolation,
        end_line=end_line,
        brightness_ratio=isolation.brightness_ratio,
        decay_ratio=isolation.decay_ratio,
        brightness_key="sharpness_acum",
        decay_key="decay_s",
        metric="nmax_sone",
        target=TARGET_PHON,
        tolerance_db=0.1,
        window=WINDOW,
    )


def _bell(name: str) -> Sound:
    return wav.load(ROOT / "stimuli_demo" / f"{name}.flac", 5.0)


@pytest.fixture(scope="module")
def crossed() -> dict[str, Variant]:
    return {v.condition: v for v in isolate.variants(_bell("dome_a-free-1"), _asked(CROSSING))}


def test_the_full_crossing_is_made(crossed: dict[str, Variant]) -> None:
    assert sorted(crossed) == sorted(CROSSING.conditions)


def test_every_variant_has_the_same_loudness(crossed: dict[str, Variant]) -> None:
    for variant in crossed.values():
        heard = loudness.course(variant.sound.amplified(variant.gain_db))
        assert loudness.level_phon(heard.nmax_sone) == pytest.approx(TARGET_PHON, abs=0.1)


def test_the_untouched_end_is_the_recording_itself(crossed: dict[str, Variant]) -> None:
    original = trimmed(_bell("dome_a-free-1"), WINDOW)
    assert np.abs(crossed["dull/short"].sound.samples - original.samples).max() < 2.0**-23  # 1 step of 24 bit


@pytest.mark.parametrize("condition", CROSSING.conditions)
def test_the_strongest_partials_reach_the_t60_that_was_asked_within_two_percent(
    crossed: dict[str, Variant], condition: str
) -> None:
    wanted = 1.6 if "long" in condition else 1.0
    moved = crossed[condition].isolated.partials
    assert len(moved) == 5
    for partial in moved:
        # brightness alone may re-scale all damping by one factor to hold the decay, within its 5 %
        assert partial.t60_wanted_s == pytest.approx(wanted * partial.t60_before_s, rel=0.05)
        assert partial.t60_after_s == pytest.approx(partial.t60_wanted_s, rel=0.02)


def test_brightness_moves_as_asked_and_the_decay_stays(crossed: dict[str, Variant]) -> None:
    for bright, dull in (("bright/short", "dull/short"), ("bright/long", "dull/long")):
        one, other = crossed[bright].isolated, crossed[dull].isolated
        assert (one.brightness_ratio or 0) / (other.brightness_ratio or 1) == pytest.approx(1.2, rel=0.02)
        assert (one.decay_ratio or 0) / (other.decay_ratio or 1) == pytest.approx(1.0, abs=0.05)


def test_decay_moves_and_the_brightness_stays(crossed: dict[str, Variant]) -> None:
    for long, short in (("bright/long", "bright/short"), ("dull/long", "dull/short")):
        one, other = crossed[long].isolated, crossed[short].isolated
        assert (one.decay_ratio or 0) / (other.decay_ratio or 1) > 1.3  # of the metric; T60 moves by 1.6
        assert (one.brightness_ratio or 0) / (other.brightness_ratio or 1) == pytest.approx(1.0, abs=0.02)


def _inflation(rows: list[tuple[float, float]]) -> float:
    """Of log brightness and log decay over all pairs; by the two-covariate formula."""
    differences = np.array([np.log(a) - np.log(b) for a, b in combinations(np.array(rows), 2)])
    r = (differences[:, 0] @ differences[:, 1]) / np.prod(np.sqrt((differences**2).sum(axis=0)))
    return float(1 / (1 - r**2))


def test_the_crossing_parts_what_the_recordings_tie_together(crossed: dict[str, Variant]) -> None:
    made = [(v.isolated.brightness_ratio or 0, v.isolated.decay_ratio or 0) for v in crossed.values()]
    natural = []
    for design in "acdf":  # in these, bright and long come together
        found = measures.measure(trimmed(_bell(f"dome_{design}-free-1"), WINDOW))
        natural.append((found.sharpness_acum or 0, found.decay_s or 0))
    assert _inflation(made) < 1.5
    assert _inflation(natural) > 5.0


def test_level_is_a_third_factor_and_nothing_but_a_gain(crossed: dict[str, Variant]) -> None:
    variant = crossed["bright/long"]
    asked = _asked(CROSSING.model_copy(update={"level_db": 3.0}))
    soft, loud = isolate._levels(variant, asked)
    assert (soft.condition, loud.condition) == ("bright/long/soft", "bright/long/loud")
    assert loud.gain_db - soft.gain_db == 3.0
    assert loud.sound is soft.sound


def test_damping_toward_another_bell_takes_its_smooth_curve() -> None:
    base, end = modal.split(_bell("dome_e-free-1")), modal.split(_bell("dome_f-free-1"))
    level, slope = isolate.damping_line(end)
    toward = Isolation(base="e", toward="f")
    damping = isolate._other_damping(base, _asked(toward, (float(level), float(slope))))
    # by the script that made them both decay with the same slope, f longer by 2.10 / 1.30
    hz = np.array([1260.0, 3301.0, 5935.0])
    np.testing.assert_allclose(1 / damping.factor(hz), 2.10 / 1.30, rtol=0.05)


def test_more_brightness_than_a_tilt_can_give_is_refused() -> None:
    isolation = Isolation(base="a", brightness_ratio=2.9)
    with pytest.raises(StudyError, match=r"cannot be reached by a tilt up to 12 dB an octave; ask for less"):
        isolate.variants(_bell("dome_b-handlebar-1"), _asked(isolation))


def test_a_recording_that_does_not_ring_is_refused() -> None:
    rng = np.random.default_rng(4)
    thud = np.exp(-np.arange(96_000) / 2000) * rng.standard_normal(96_000) * 0.1
    with pytest.raises(SoundError, match="wanted"):
        isolate.variants(Sound(thud, 48_000, 5.0, "thud"), _asked(CROSSING))


@pytest.mark.parametrize(
    ("keys", "wanted"),
    [
        ({}, "either `toward`, or"),
        ({"toward": "b", "decay_ratio": 1.5}, "either `toward`, or"),
        ({"decay_ratio": 1.001}, "within 1 % of 1"),
        ({"toward": "a"}, "base itself"),
    ],
)
def test_a_section_that_asks_for_nothing_or_too_much_is_refused(keys: dict[str, object], wanted: str) -> None:
    with pytest.raises(ValueError, match=wanted):
        Isolation.model_validate({"base": "a"} | keys)


def test_the_conditions_name_every_combination() -> None:
    assert Isolation(base="a", decay_ratio=0.5).conditions == ["short", "long"]
    both = Isolation(base="a", toward="b", level_db=3.0).conditions
    assert len(both) == 8
    assert both[0] == "dull/short/soft"


ISOLATED = """name = "isolated"
metric = "nmax_sone"
[isolation]
base = "a"
decay_ratio = 1.4
[covariates]
level = "loudness_level_phon"
brightness = "sharpness_acum"
decay = "decay_s"
"""


def test_prepare_makes_isolated_stimuli_of_every_base_strike(
    make_study: Maker, capsys: pytest.CaptureFixture[str]
) -> None:
    study = make_study(change=('name = "matched"\nmetric = "laf_max_db"\n', ISOLATED))
    text = study.protocol.read_text().replace('presentation = "matched"', 'presentation = "isolated"')
    study.protocol.write_text(text.replace('more = "b", than = "a"', 'more = "long", than = "short"'))
    assert cli.main(["prepare", str(study.root), "--jobs", "1", "-v"]) == 0
    told = capsys.readouterr().out
    assert "what moved against the untouched strike at the matched level" in told
    manifest = Manifest.load(study.manifest)
    made = [s for s in manifest.stimuli if s.presentation == "isolated"]
    assert [(s.recording, s.condition) for s in made] == [
        ("a1", "short"),
        ("a2", "short"),
        ("a1", "long"),
        ("a2", "long"),
    ]
    phon = [s.after["loudness_level_phon"] or 0 for s in made]
    assert max(phon) - min(phon) < 0.1
    assert manifest.isolated_target == pytest.approx(np.mean(phon), abs=0.1)
    for stimulus in made:
        assert stimulus.isolated is not None
        moved = stimulus.isolated.partials
        wanted = 1.4 if stimulus.condition == "long" else 1.0
        assert [p.t60_after_s / 0.6 for p in moved] == pytest.approx([wanted] * len(moved), rel=0.02)
