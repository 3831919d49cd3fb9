"""The sealed key opens only on what was dealt, and every opening leaves a line."""

import shutil
from pathlib import Path

import pytest

from listening.analysis.opening import sealed_key
from listening.errors import StudyError
from listening.records.study import Study

PROTOCOL = Path(__file__).resolve().parents[3] / "protocols" / "bells.toml"


@pytest.fixture
def study(tmp_path, bells) -> Study:
    made = Study(tmp_path)
    shutil.copy(PROTOCOL, made.protocol)
    bells.manifest.save(made.manifest)
    bells.plan.save(made.plan)
    bells.key.save(made.key)
    return made


def open_key(study: Study) -> sealed_key.Opened:
    return sealed_key.open_key(study, now=lambda: "2026-01-01T00:00:00Z", why="analyse")


def test_every_opening_is_logged(study):
    open_key(study)
    open_key(study)
    lines = (study.sealed / sealed_key.LOG).read_text().splitlines()
    assert len(lines) == 2
    assert lines[0].startswith("2026-01-01T00:00:00Z analyse study ")


def test_a_changed_protocol_is_refused(study):
    text = study.protocol.read_text()
    study.protocol.write_text(text.replace("smallest_effect = 0.6", "smallest_effect = 0.51", 1))
    with pytest.raises(StudyError, match=r"protocol\.toml: the protocol is not the one that was dealt"):
        open_key(study)
    assert not (study.sealed / sealed_key.LOG).exists()


def test_a_changed_manifest_is_refused(study, bells):
    one = bells.manifest.stimuli[0]
    louder = one.model_copy(update={"gain_db": one.gain_db + 1})
    changed = bells.manifest.model_copy(update={"stimuli": (louder, *bells.manifest.stimuli[1:])})
    changed.save(study.manifest)
    with pytest.raises(StudyError, match=r"manifest\.json: the manifest of stimuli is not the one"):
        open_key(study)


def test_an_exchanged_clip_in_the_key_is_refused(study, bells):
    a, b, *rest = bells.key.clips
    swapped = (a.model_copy(update={"clip": b.clip}), b.model_copy(update={"clip": a.clip}), *rest)
    bells.key.model_copy(update={"clips": swapped}).save(study.key)
    with pytest.raises(StudyError, match=r"key\.json: the sealed key is not the one"):
        open_key(study)
