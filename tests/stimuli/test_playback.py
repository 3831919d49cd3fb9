"""Playback: level at the listener, one ear or both, headphones undone, and gains set by ear."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile

from listening import cli
from listening.audio import wav
from listening.errors import MissingFile, SoundError, StudyError
from listening.metrics import level
from listening.metrics.loud import loudness_bs1770
from listening.records.sounds.ear_gains import EarGain, EarGains
from listening.records.sounds.manifest import Manifest
from listening.records.study import Study
from listening.stimuli import headphones, preparation, residuals
from tests.stimuli.conftest import Maker
from tests.stimuli.small_study import RATE_HZ, SOUNDS, ringing

Plain = tuple[Study, Manifest]
FEW = {name: SOUNDS[name] for name in ("a1", "b1")}
PLAYBACK = "[playback]\n{}\n[[attributes]]"


def _with(keys: str) -> tuple[str, str]:
    return "[[attributes]]", PLAYBACK.format(keys)


def test_a_softer_playback_level_changes_the_scale_and_not_the_files(plain: Plain, make_study: Maker) -> None:
    softer = preparation.run(make_study(FEW, change=_with("level_db = -6.0")))
    for stimulus in softer.stimuli:
        if stimulus.presentation == "as recorded":
            same = plain[1].of(stimulus.stimulus)
            assert stimulus.digest == same.digest
            # 2 by 1e-9: the levels are the same numbers less 6 dB
            assert stimulus.after["laf_max_db"] == pytest.approx(
                (same.after["laf_max_db"] or 0) - 6, abs=1e-6
            )


@pytest.mark.parametrize(("ears", "channel"), [("left", 0), ("right", 1)])
def test_one_side_gets_the_sound_and_the_other_silence(make_study: Maker, ears: str, channel: int) -> None:
    study = make_study(FEW, change=_with(f'ears = "{ears}"'))
    manifest = preparation.run(study)
    for stimulus in manifest.stimuli:
        samples = wav.load(study.stimuli / stimulus.file).samples
        assert samples.shape[1] == 2
        assert samples[:, channel].any()
        assert not samples[:, 1 - channel].any()
        assert stimulus.residual_db is None or abs(stimulus.residual_db) < 0.1


def _response(path: Path, level_db: Callable[[np.ndarray], np.ndarray]) -> None:
    hz = np.geomspace(20, 22_000, 200)
    rows = [f"{f},{g}" for f, g in zip(hz, level_db(hz), strict=True)]
    path.write_text("frequency_hz,level_db\n" + "\n".join(rows))


def _tilted(hz: np.ndarray) -> np.ndarray:
    return np.asarray(2.0 * np.log2(hz / 1000))


def _load(path: Path, boost_limit_db: float = 10.0) -> headphones.Response:
    return headphones.load(path, RATE_HZ, boost_limit_db=boost_limit_db, low_hz=100, high_hz=10_000)


def test_both_filters_together_are_level(tmp_path: Path) -> None:
    _response(tmp_path / "ear.csv", _tilted)
    response = _load(tmp_path / "ear.csv")
    total = np.fft.rfft(response.heard, RATE_HZ) * np.fft.rfft(response.undo, RATE_HZ)  # bins of 1 Hz
    assert np.abs(20 * np.log10(np.abs(total[100:10_000]))).max() < 0.05  # 4096 taps
    gain_db = 20 * np.log10(np.abs(np.fft.rfft(response.undo, RATE_HZ)[[500, 1000, 2000, 4000]]))
    np.testing.assert_allclose(np.diff(gain_db), -2.0, atol=0.05)  # 2 dB an octave, undone
    assert response.worst_rest_db < 1e-9


def test_boost_is_limited_and_what_stays_is_told(tmp_path: Path) -> None:
    _response(tmp_path / "dip.csv", lambda hz: -20.0 * np.exp(-((np.log2(hz / 3000) / 0.5) ** 2)))
    response = _load(tmp_path / "dip.csv", boost_limit_db=6.0)
    assert response.largest_boost_db == pytest.approx(6.0)
    assert 20 * np.log10(np.abs(np.fft.rfft(response.undo, RATE_HZ))).max() < 6.05
    assert response.worst_rest_db > 8.0


def test_an_impulse_response_and_its_table_give_the_same_filter(tmp_path: Path) -> None:
    taps = np.array([1.0, 0.4, 0.1, 0.0])
    soundfile.write(tmp_path / "ear.wav", 0.5 * taps, RATE_HZ, subtype="PCM_24")
    _response(
        tmp_path / "ear.csv",
        lambda hz: 20 * np.log10(np.abs(np.exp(-2j * np.pi * np.outer(hz, np.arange(4)) / RATE_HZ) @ taps)),
    )
    one, other = _load(tmp_path / "ear.wav"), _load(tmp_path / "ear.csv")
    # the table's points are interpolated: a hundredth of full gain
    np.testing.assert_allclose(one.undo[:8], other.undo[:8], atol=0.01)


BAD = {
    "missing": (None, MissingFile, "no such file"),
    "no numbers": ("frequency_hz,level_db\n100,loud\n", SoundError, "with numbers"),
    "no columns": ("f,g\n100,1\n200,1\n300,1\n", SoundError, "wanted columns"),
    "falling": ("frequency_hz,level_db\n300,1\n200,1\n100,1\n", SoundError, "rising frequencies"),
    "too narrow": (
        "frequency_hz,level_db\n500,1\n1000,1\n2000,1\n",
        SoundError,
        "narrow playback.compensated_hz",
    ),
}


@pytest.mark.parametrize("fault", BAD)
def test_a_bad_response_is_refused(tmp_path: Path, fault: str) -> None:
    text, error, wanted = BAD[fault]
    if text is not None:
        (tmp_path / "r.csv").write_text(text)
    with pytest.raises(error, match=wanted):
        _load(tmp_path / "r.csv")


def test_stimuli_sound_through_the_headphones_as_they_should(plain: Plain, make_study: Maker) -> None:
    study = make_study(FEW, change=_with('response = "ear.csv"'))
    _response(study.root / "sounds" / "ear.csv", _tilted)
    manifest = preparation.run(study)
    for stimulus in manifest.stimuli:
        same = plain[1].of(stimulus.stimulus)
        if stimulus.presentation == "as recorded":
            assert stimulus.digest != same.digest
            # at the ear what it would be without headphones: the filters' product is level to 0.05 dB
            assert stimulus.after["laf_max_db"] == pytest.approx(same.after["laf_max_db"], abs=0.05)
            file = wav.load(study.stimuli / stimulus.file)
            assert stimulus.after["true_peak_dbtp"] == pytest.approx(loudness_bs1770.true_peak_dbtp(file))


def test_another_playback_level_undoes_a_loudness_match_and_is_warned_of(make_study: Maker) -> None:
    # a low and a high tone: loudness grows faster with level at low frequencies
    low_high = {"a1": ("a", ringing(f_hz=120.0)), "b1": ("b", ringing(f_hz=2500.0, gain_db=-6.0))}
    study = make_study(low_high, change=('"laf_max_db"', '"nmax_sone"'))
    manifest = preparation.run(study)
    near = residuals.departure(study.stimuli, manifest, 0.0)
    far = residuals.departure(study.stimuli, manifest, -20.0)
    assert near.spread_phon == near.spread_there_phon < 0.1
    assert far.spread_there_phon > 1.0
    assert far.warns
    assert not residuals.departure(study.stimuli, manifest, 5.0).warns


def test_another_level_says_nothing_of_an_uncalibrated_set(plain: Plain) -> None:
    bare = plain[1].model_copy(update={"pascal_per_full_scale": None})
    with pytest.raises(StudyError, match="not calibrated"):
        residuals.departure(plain[0].stimuli, bare, 8.0)


def _gains(metric: str = "laf_max_db", **gain_db: float) -> EarGains:
    return EarGains(
        study_digest="0" * 64,
        metric=metric,
        n_listeners=6,
        simulated=True,
        pairs=(),
        conditions=tuple(EarGain(condition=c, gain_db=g, se_db=0.2) for c, g in gain_db.items()),
    )


def test_gains_by_ear_replace_the_computed_match(make_study: Maker) -> None:
    study = make_study(FEW)
    _gains(a=0.75, b=-0.75).save(study.ear_gains)
    manifest = preparation.run(study)
    matched = {s.condition: s for s in manifest.stimuli if s.presentation == "matched"}
    sounds = {c: wav.load(study.stimuli / s.file, manifest.pascal_per_full_scale) for c, s in matched.items()}
    # each may miss its computed match by a twentieth of 0.1 dB
    assert level.laf_max_db(sounds["a"]) - level.laf_max_db(sounds["b"]) == pytest.approx(1.5, abs=0.011)
    assert "by ear (6 listeners, standard error up to 0.20 dB)" in manifest.matching_label


@pytest.mark.parametrize(
    ("gains", "wanted"),
    [(_gains(a=0.5), "`b` was not adjusted"), (_gains("nmax_sone", a=0.5, b=-0.5), "the same metric")],
    ids=["a condition missing", "another metric"],
)
def test_gains_by_ear_that_do_not_fit_are_refused(make_study: Maker, gains: EarGains, wanted: str) -> None:
    study = make_study(FEW)
    gains.save(study.ear_gains)
    with pytest.raises(StudyError, match=wanted):
        preparation.run(study)


def test_the_command_tells_what_another_level_does(plain: Plain, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["prepare", str(plain[0].root), "--played-at", "8"]) == 0
    assert "caution: played +8 dB" in capsys.readouterr().out
