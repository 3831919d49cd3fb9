"""Freezing: one changed byte is named; a new version keeps the old one readable with the reason."""

from collections.abc import Callable
from pathlib import Path

import pytest

from listening.design import versions
from listening.errors import RecordError, StudyError
from listening.records.dealt.plan import Plan
from listening.records.forms import frozen
from listening.records.protocols import protocol
from listening.records.sounds.manifest import Manifest
from listening.records.study import Study
from listening.steps import study_deal as command

SECRET = "0123456789abcdef" * 2
WHY = "the second strike of c01 was mislabelled"


def _deal(study: Study, **more: str) -> Plan:
    return command.deal(study, secret=SECRET, dealt_at="2026-01-01T00:00:00+00:00", **more)[0]  # type: ignore[arg-type]


def _flip(path: Path, place: int) -> None:
    """Change one byte by its lowest bit: a letter or digit mostly stays one, so that the file can be read."""
    content = bytearray(path.read_bytes())
    content[place] = content[place] ^ 1
    path.write_bytes(bytes(content))


FILES: dict[str, Callable[[Study], Path]] = {
    "protocol": lambda s: s.protocol,
    "manifest of stimuli": lambda s: s.manifest,
    "stimulus": lambda s: sorted(s.stimuli.glob("*.flac"))[0],
    "sealed key": lambda s: s.key,
    "plan": lambda s: s.plan,
}


@pytest.mark.parametrize("where", [0.1, 0.5, 0.9])
@pytest.mark.parametrize("what", FILES)
def test_one_changed_byte_of_a_frozen_file_is_named(prepared: Study, what: str, where: float) -> None:
    _deal(prepared)
    frozen.check(prepared)
    path = FILES[what](prepared)
    _flip(path, int(where * path.stat().st_size))
    with pytest.raises(StudyError, match=f"{path.name}: the {what} is not the one that was dealt"):
        frozen.check(prepared)


def test_a_plan_with_one_other_order_is_refused_where_it_is_read(prepared: Study) -> None:
    _deal(prepared)
    text = prepared.plan.read_text()
    prepared.plan.write_text(text.replace('"trial": "004"', '"trial": "044"', 1))
    with pytest.raises(StudyError, match="altered after it was dealt"):
        Plan.load(prepared.plan)


@pytest.mark.parametrize("place", [100, 300, -40])
def test_a_stimulus_altered_before_dealing_is_named(prepared: Study, place: int) -> None:
    path = sorted(prepared.stimuli.glob("*.flac"))[2]
    size = path.stat().st_size
    _flip(path, place % size)
    with pytest.raises(ValueError, match=path.name):
        _deal(prepared)
    assert not prepared.plan.exists()


def test_a_missing_frozen_file_is_named_but_a_stimulus_may_go(prepared: Study) -> None:
    _deal(prepared)
    sorted(prepared.stimuli.glob("*.flac"))[0].unlink()
    frozen.check(prepared)
    prepared.key.unlink()
    with pytest.raises(StudyError, match=r"key\.json: the sealed key is not there any more"):
        frozen.check(prepared)


def _sit_and_change(study: Study) -> None:
    study.answers.write_bytes(b"answers")
    study.protocol.write_text(study.protocol.read_text() + "\n# mended\n")
    manifest = Manifest.load(study.manifest)
    digest = protocol.digest(study.protocol)
    manifest.model_copy(update={"protocol_digest": digest}).save(study.manifest)


def test_a_new_version_states_its_reason_and_keeps_the_old_one_whole(prepared: Study) -> None:
    first = _deal(prepared)
    _sit_and_change(prepared)
    second = _deal(prepared, again=WHY)
    assert (first.study_version, second.study_version) == (1, 2)
    old = Study(prepared.versions / "1")
    assert Plan.load(old.plan) == first
    assert old.answers.read_bytes() == b"answers"
    assert protocol.digest(old.protocol) == first.protocol_digest
    frozen.check(old)
    frozen.check(prepared)
    assert [(v.number, v.reason) for v in versions.history(prepared).versions] == [(1, ""), (2, WHY)]
    assert not prepared.answers.exists()


def test_a_third_version_goes_on_counting(prepared: Study) -> None:
    _deal(prepared)
    for _ in range(2):
        _sit_and_change(prepared)
        last = _deal(prepared, again=WHY)
    assert last.study_version == 3
    assert [v.number for v in versions.history(prepared).versions] == [1, 2, 3]
    assert sorted(p.name for p in prepared.versions.iterdir()) == ["1", "2"]


def test_dealing_again_before_anybody_sat_is_the_same_version(prepared: Study) -> None:
    _deal(prepared)
    assert _deal(prepared).study_version == 1
    assert len(versions.history(prepared).versions) == 1


@pytest.mark.parametrize("why", ["", "because"])
def test_a_new_version_without_a_reason_in_words_is_refused(prepared: Study, why: str) -> None:
    _deal(prepared)
    _sit_and_change(prepared)
    with pytest.raises(StudyError, match="reason"):
        _deal(prepared, again=why)
    assert prepared.answers.read_bytes() == b"answers"
    assert prepared.plan.exists()


def test_a_frozen_list_that_is_cut_is_a_plain_error(prepared: Study) -> None:
    _deal(prepared)
    prepared.frozen.write_text(prepared.frozen.read_text()[:50])
    with pytest.raises(RecordError, match=r"frozen\.json"):
        frozen.check(prepared)
