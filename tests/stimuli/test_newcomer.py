"""A new recording measured as the study would play it, and predicted from the command line."""

import json
import shutil
from pathlib import Path

import pytest
import soundfile

from listening import cli
from listening.errors import StudyError
from listening.records.protocols import protocol
from listening.records.sounds.manifest import Manifest
from listening.records.study import Study
from listening.stimuli import unseen_recording
from tests.stimuli.small_study import RATE_HZ, ringing

Plain = tuple[Study, Manifest]
FINDINGS = Path(__file__).parents[1] / "report" / "findings.json"


@pytest.mark.parametrize("presentation", ["as recorded", "matched"])
def test_a_recording_of_the_study_measures_as_its_own_stimulus(plain: Plain, presentation: str) -> None:
    study, manifest = plain
    found = unseen_recording.as_played(
        study.root / "sounds" / "b1.wav",
        presentation,
        chosen=protocol.load(study.protocol),
        protocol_path=study.protocol,
        manifest=manifest,
        pascal_per_full_scale=5.0,
    )
    (own,) = (s for s in manifest.stimuli if (s.recording, s.presentation) == ("b1", presentation))
    for metric in ("laf_max_db", "true_peak_dbtp", "momentary_max_lufs"):
        assert found[metric] == pytest.approx(own.after[metric], abs=0.01)  # 24-bit steps of the written file
    for metric in ("sharpness_acum", "centroid_hz", "t60_s"):
        assert found[metric] == pytest.approx(own.after[metric], rel=0.005)


def test_a_recording_that_cannot_be_played_alike_is_refused(plain: Plain) -> None:
    study, manifest = plain
    file, chosen = study.root / "sounds" / "b1.wav", protocol.load(study.protocol)
    about = {"chosen": chosen, "protocol_path": study.protocol, "manifest": manifest}
    with pytest.raises(StudyError, match="--pascal-per-full-scale"):
        unseen_recording.as_played(file, "matched", **about)
    with pytest.raises(StudyError, match="not `isolated`"):
        unseen_recording.as_played(file, "isolated", pascal_per_full_scale=5.0, **about)


@pytest.fixture
def analysed(plain: Plain, tmp_path: Path) -> Path:
    """The small study with the findings of another one: six bells that ring 0.8 to 2.1 s."""
    shutil.copytree(plain[0].root, tmp_path / "study")
    shutil.copy(FINDINGS, tmp_path / "study" / "findings.json")
    for name, t60_s in (("inside", 1.2), ("outside", 0.4)):
        soundfile.write(tmp_path / f"{name}.wav", ringing(t60_s=t60_s), RATE_HZ, subtype="PCM_24")
    return tmp_path


def test_the_command_predicts_with_limits(analysed: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = ["--attribute", "ringing", "--pascal-per-full-scale", "5", "--metric", "t60_s"]
    assert cli.main(["predict", str(analysed / "study"), str(analysed / "inside.wav"), *words, "--json"]) == 0
    made = json.loads(capsys.readouterr().out)
    assert made["value"] == pytest.approx(1.2, rel=0.05)
    assert made["one_listener"]["lower"] < made["strength"]["lower"] < made["strength"]["value"]
    assert len(made["against"]) == made["n_conditions"] == 6
    assert cli.main(["predict", str(analysed / "study"), str(analysed / "inside.wav"), *words]) == 0
    printed = capsys.readouterr().out
    assert printed.startswith("SIMULATED PANEL")
    assert "no ground for a claim" in printed


def test_the_command_refuses_outside_the_data_and_asks_which_is_meant(
    analysed: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    study, words = str(analysed / "study"), ["--pascal-per-full-scale", "5", "--metric", "t60_s"]
    outside = ["predict", study, str(analysed / "outside.wav"), "--attribute", "ringing", *words]
    assert cli.main(outside) == 2
    assert "the strikes heard lie between" in capsys.readouterr().err
    assert cli.main(["predict", study, str(analysed / "inside.wav"), *words]) == 2
    assert "--attribute 'ringing' --presentation 'matched'" in capsys.readouterr().err
