"""`deal` on disk: clips that tell nothing, a plan that comes last, one changed byte that is named."""

import hashlib
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from listening.audio import wav
from listening.audio.sound import Sound
from listening.commands import deal as command
from listening.errors import StudyError
from listening.records import protocol
from listening.records.key import Key
from listening.records.manifest import Manifest
from listening.records.plan import Plan
from listening.records.protocol import Protocol
from listening.records.study import Study
from listening.stimuli import clips

Maker = Callable[..., tuple[Protocol, Manifest]]
SECRET = "0123456789abcdef" * 2
RATE_HZ = 8000


@pytest.fixture
def study(tmp_path: Path, made: Maker, protocol_text: Callable[[Protocol], str]) -> Study:
    """A prepared study of four conditions with short noise for sounds, of different lengths."""
    chosen, manifest = made(4, controls=[{"attribute": "brightness", "gains_db": [3.0]}])
    folder = Study(tmp_path / "study")
    folder.stimuli.mkdir(parents=True)
    folder.protocol.write_text(protocol_text(chosen))
    rng = np.random.default_rng(1)
    stimuli = []
    for i, stimulus in enumerate(manifest.stimuli):
        samples = np.round(rng.uniform(-0.5, 0.5, (800 + 7 * i, 1)) * 2**23) / 2**23
        wav.save(folder.stimuli / stimulus.file, Sound(samples, RATE_HZ))
        stimuli.append(stimulus.model_copy(update={"digest": wav.digest(samples)}))
    manifest = manifest.model_copy(
        update={
            "stimuli": tuple(stimuli),
            "rate_hz": RATE_HZ,
            "protocol_digest": protocol.digest(folder.protocol),
        }
    )
    manifest.save(folder.manifest)
    return folder


def _dealt(study: Study) -> Plan:
    return command.deal(study, secret=SECRET, dealt_at="2026-01-01T00:00:00+00:00")[0]


def test_no_size_and_no_hash_joins_a_clip_to_a_stimulus(study: Study) -> None:
    plan = _dealt(study)
    files = sorted(study.clips.iterdir())
    assert {f.stem for f in files} == {c.clip for c in plan.clips}
    assert len({f.stat().st_size for f in files}) == 1
    told = {hashlib.sha256(f.read_bytes()).hexdigest() for f in study.stimuli.iterdir()}
    told |= {s.digest for s in Manifest.load(study.manifest).stimuli}
    assert not told & {c.digest for c in plan.clips}
    assert not told & {wav.digest(wav.load(f).samples) for f in files}


def test_a_clip_plays_its_stimulus_then_silence_and_nothing_else(study: Study) -> None:
    plan = _dealt(study)
    manifest, key = Manifest.load(study.manifest), Key.load(study.key)
    for clip in key.clips:
        heard = wav.load(study.clips / f"{clip.clip}.wav").samples
        sound = wav.load(study.stimuli / manifest.of(clip.stimulus).file).samples
        # 24 bit: half a step of rounding, and up to half a step at |x| = 0.5 as full scale is 2**23 - 1
        assert np.abs(heard[: len(sound)] - sound * 10 ** (clip.gain_db / 20)).max() <= 1 / 2**23
        assert not heard[len(sound) :].any()
    assert len(plan.clips) == len(key.clips)


def test_dealing_again_gives_the_same_bytes(study: Study) -> None:
    _dealt(study)
    first = {f.name: f.read_bytes() for f in [study.plan, study.key, *study.clips.iterdir()]}
    _dealt(study)
    assert first == {f.name: f.read_bytes() for f in [study.plan, study.key, *study.clips.iterdir()]}


def test_the_key_is_for_its_owner_alone_and_not_in_the_station(study: Study) -> None:
    _dealt(study)
    assert study.key.stat().st_mode & 0o077 == 0
    assert study.sealed not in study.station.parents
    assert SECRET not in "".join(f.read_text() for f in study.station.rglob("*.json"))


def test_a_deal_killed_while_writing_clips_is_no_deal(study: Study, monkeypatch: pytest.MonkeyPatch) -> None:
    def killed(*args: object, **more: object) -> dict[str, str]:
        raise KeyboardInterrupt

    monkeypatch.setattr(clips, "write", killed)
    with pytest.raises(KeyboardInterrupt):
        _dealt(study)
    assert not study.plan.exists()


def test_a_deal_with_answers_is_not_dealt_again(study: Study) -> None:
    _dealt(study)
    study.answers.write_bytes(b"x")
    with pytest.raises(StudyError, match="answers exist"):
        _dealt(study)


def test_a_protocol_changed_after_prepare_is_named(study: Study) -> None:
    study.protocol.write_text(study.protocol.read_text() + "\n# a late thought\n")
    with pytest.raises(StudyError, match=r"protocol\.toml: changed since"):
        _dealt(study)


def test_stimuli_of_two_lengths_give_clips_of_one(study: Study) -> None:
    sounds = [wav.load(f).n_samples for f in sorted(study.stimuli.glob("*.flac"))]
    assert len(set(sounds)) > 1
    _dealt(study)
    lengths = {wav.load(f).n_samples for f in study.clips.iterdir()}
    assert len(lengths) == 1
    assert lengths.pop() > max(sounds)


def test_another_secret_gives_another_tail() -> None:
    tails = {clips._tail_samples(f"{i:032x}", 48000) for i in range(50)}
    assert len(tails) > 40
    assert min(tails) >= 0.05 * 48000
    assert max(tails) <= 0.25 * 48000
