"""`deal` on disk: clips that tell nothing, a plan that comes last, one changed byte that is named."""

import hashlib

import numpy as np
import pytest

from listening.audio import wav
from listening.errors import StudyError
from listening.records.dealt.plan import Plan
from listening.records.keys.key import Key
from listening.records.sounds.manifest import Manifest
from listening.records.study import Study
from listening.steps import study_deal as command
from listening.stimuli import coded_clips

SECRET = "0123456789abcdef" * 2
RATE_HZ = 8000


def _dealt(prepared: Study) -> Plan:
    return command.deal(prepared, secret=SECRET, dealt_at="2026-01-01T00:00:00+00:00")[0]


def test_no_size_and_no_hash_joins_a_clip_to_a_stimulus(prepared: Study) -> None:
    plan = _dealt(prepared)
    files = sorted(prepared.clips.iterdir())
    assert {f.stem for f in files} == {c.clip for c in plan.clips}
    assert len({f.stat().st_size for f in files}) == 1
    told = {hashlib.sha256(f.read_bytes()).hexdigest() for f in prepared.stimuli.iterdir()}
    told |= {s.digest for s in Manifest.load(prepared.manifest).stimuli}
    assert not told & {c.digest for c in plan.clips}
    assert not told & {wav.digest(wav.load(f).samples) for f in files}


def test_a_clip_plays_its_stimulus_between_silences_and_nothing_else(prepared: Study) -> None:
    plan = _dealt(prepared)
    manifest, key = Manifest.load(prepared.manifest), Key.load(prepared.key)
    for clip in key.clips:
        heard = wav.load(prepared.clips / f"{clip.clip}.wav").samples[:, 0]
        sound = wav.load(prepared.stimuli / manifest.of(clip.stimulus).file).samples[:, 0]
        meant = np.fft.rfft(sound * 10 ** (clip.gain_db / 20), len(heard))
        # a delay turns phases and keeps every magnitude; a line of the dither's spectrum is its rms times
        # sqrt(n), and none reaches five times that
        rms = np.sqrt(1 / 6 + 1 / 12) / 2**23
        assert np.abs(np.abs(np.fft.rfft(heard))[:-1] - np.abs(meant)[:-1]).max() < 5 * rms * np.sqrt(
            len(heard)
        )
    assert len(plan.clips) == len(key.clips)


def test_dealing_again_gives_the_same_bytes(prepared: Study) -> None:
    _dealt(prepared)
    first = {f.name: f.read_bytes() for f in [prepared.plan, prepared.key, *prepared.clips.iterdir()]}
    _dealt(prepared)
    assert first == {f.name: f.read_bytes() for f in [prepared.plan, prepared.key, *prepared.clips.iterdir()]}


def test_the_key_is_for_its_owner_alone_and_not_in_the_station(prepared: Study) -> None:
    _dealt(prepared)
    assert prepared.key.stat().st_mode & 0o077 == 0
    assert prepared.sealed not in prepared.station.parents
    assert SECRET not in "".join(f.read_text() for f in prepared.station.rglob("*.json"))


def test_a_deal_killed_while_writing_clips_is_no_deal(
    prepared: Study, monkeypatch: pytest.MonkeyPatch
) -> None:
    def killed(*args: object, **more: object) -> dict[str, str]:
        raise KeyboardInterrupt

    monkeypatch.setattr(coded_clips, "write", killed)
    with pytest.raises(KeyboardInterrupt):
        _dealt(prepared)
    assert not prepared.plan.exists()


def test_a_deal_with_answers_is_not_dealt_again(prepared: Study) -> None:
    _dealt(prepared)
    prepared.answers.write_bytes(b"x")
    with pytest.raises(StudyError, match="answers exist"):
        _dealt(prepared)


def test_a_protocol_changed_after_prepare_is_named(prepared: Study) -> None:
    prepared.protocol.write_text(prepared.protocol.read_text() + "\n# a late thought\n")
    with pytest.raises(StudyError, match=r"protocol\.toml: changed since"):
        _dealt(prepared)


def test_stimuli_of_two_lengths_give_clips_of_one(prepared: Study) -> None:
    sounds = [wav.load(f).n_samples for f in sorted(prepared.stimuli.glob("*.flac"))]
    assert len(set(sounds)) > 1
    _dealt(prepared)
    lengths = {wav.load(f).n_samples for f in prepared.clips.iterdir()}
    assert len(lengths) == 1
    assert lengths.pop() > max(sounds)


def test_another_secret_gives_another_tail() -> None:
    tails = {coded_clips._tail_samples(f"{i:032x}", 48000) for i in range(50)}
    assert len(tails) > 40
    assert min(tails) >= 0.05 * 48000
    assert max(tails) <= 0.25 * 48000
