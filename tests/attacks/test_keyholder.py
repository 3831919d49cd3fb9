"""Two people: the key under a pass phrase, a station without anything else; what is said where neither is."""

import json
import os
from collections.abc import Callable
from pathlib import Path

import pytest

from listening.errors import StudyError
from listening.records.dealt.plan import Plan
from listening.records.found.findings import Findings
from listening.records.keys import key_sealing
from listening.records.keys.key import Key
from listening.records.keys.key_sealing import SealedKey
from listening.records.study import Study
from listening.simulate import run as simulate
from tests.attacks import whole_study
from tests.attacks.conftest import PHRASE
from tests.attacks.whole_study import command


@pytest.fixture
def sealed(fresh: Callable[..., Study]) -> Study:
    return fresh("sealed", keyholder=lambda: PHRASE)


def descriptor_with(phrase: str) -> int:
    """A file descriptor to read a phrase from, as a shell opens with 3< FILE."""
    reading, writing = os.pipe()
    os.write(writing, f"{phrase}\n".encode())
    os.close(writing)
    return reading


def test_the_secret_lies_nowhere_in_the_folder(sealed: Study) -> None:
    assert not sealed.key.exists()
    for path in sealed.root.rglob("*"):
        if path.is_file():
            content = path.read_bytes()
            assert whole_study.SECRET.encode() not in content, path
            assert bytes.fromhex(whole_study.SECRET) not in content, path
    assert sealed.sealed_key.stat().st_mode & 0o077 == 0


def test_the_search_finds_the_secret_of_an_open_key(fresh: Callable[..., Study]) -> None:
    study = fresh()
    assert whole_study.SECRET.encode() in study.key.read_bytes()


def test_the_key_opens_with_its_phrase_alone(sealed: Study) -> None:
    kept = SealedKey.load(sealed.sealed_key)
    assert json.loads(sealed.sealed_key.read_text())["format"] == 1
    key = key_sealing.unseal(kept, PHRASE, "here")
    assert key.sealed_digest() == Plan.load(sealed.plan).key_digest
    for wrong in ("", PHRASE + " ", PHRASE.upper()):
        with pytest.raises(StudyError, match="does not open with this pass phrase"):
            key_sealing.unseal(kept, wrong, "here")


@pytest.mark.parametrize("change", ["sealed", "salt", "nonce", "n", "r"])
def test_a_changed_seal_does_not_open(sealed: Study, change: str) -> None:
    kept = SealedKey.load(sealed.sealed_key)
    value = getattr(kept, change)
    other = value // 2 if isinstance(value, int) else ("0" if value[0] != "0" else "1") + value[1:]
    with pytest.raises(StudyError, match="does not open"):
        key_sealing.unseal(kept.model_copy(update={change: other}), PHRASE, "here")


def test_the_same_key_sealed_twice_shares_no_byte_string() -> None:
    key = Key(secret=whole_study.SECRET, clips=())
    one, two = (key_sealing.seal(key, PHRASE) for _ in range(2))
    assert one.sealed != two.sealed
    assert one.salt != two.salt
    # RFC 7914, 2: 128 N r bytes for each guess, here 128 MiB, gone through p times over, here once
    assert (128 * one.n * one.r, one.r, one.p) == (128 * 2**20, 8, 1)


def test_a_short_phrase_is_refused() -> None:
    with pytest.raises(StudyError, match="found 3 characters, wanted 12"):
        key_sealing.seal(Key(secret=whole_study.SECRET, clips=()), "abc")


def test_only_who_has_the_phrase_analyses_and_the_page_says_so(
    sealed: Study, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(StudyError, match="cannot ask for it"):
        simulate.run(sealed, seed=3)
    assert command("simulate", sealed.root, "--passphrase-fd", descriptor_with(PHRASE)) == 0
    assert command("analyse", sealed.root) == 2
    assert "there is no terminal to ask in" in capsys.readouterr().err
    assert command("analyse", sealed.root, "--passphrase-fd", descriptor_with("not the right one")) == 2
    assert not sealed.findings.exists()
    assert command("analyse", sealed.root, "--passphrase-fd", descriptor_with(PHRASE)) == 0
    assert command("report", sealed.root) == 0
    record = Findings.load(sealed.findings).record
    assert record is not None
    assert record.key == "pass phrase"
    assert "sealed under a pass phrase" in sealed.page.read_text()
    assert command("verify", sealed.root, "--passphrase-fd", descriptor_with(PHRASE)) == 0
    told = [json.loads(line) for line in sealed.record.read_text().splitlines()]
    assert {line["told"]["key"] for line in told if line["kind"] == "opening"} == {"pass phrase"}


def test_an_open_key_is_said_on_the_page(study: Study) -> None:
    assert "The key lay open in the study folder" in study.page.read_text()


def test_dealing_with_a_keyholder_leaves_no_open_key_of_before(fresh: Callable[..., Study]) -> None:
    study = fresh()
    assert study.key.is_file()
    assert command("deal", study.root, "--keyholder", "--passphrase-fd", descriptor_with(PHRASE)) == 0
    assert not study.key.exists()
    assert command("deal", study.root) == 0
    assert not study.sealed_key.exists()


def test_a_station_holds_plan_and_clips_and_nothing_else(study: Study, tmp_path: Path) -> None:
    out = Study(tmp_path / "carried")
    assert command("station", study.root, out.root) == 0
    files = {path.relative_to(out.root).as_posix() for path in out.root.rglob("*") if path.is_file()}
    clips = {f"station/clips/{clip.clip}.wav" for clip in Plan.load(study.plan).clips}
    assert files == {"station/plan.json"} | clips
    assert out.plan.read_bytes() == study.plan.read_bytes()
    assert not out.key_lies_beside
    assert command("station", study.root, out.root) == 2  # not over what is there


def test_a_station_from_a_folder_with_a_missing_clip_is_refused(study: Study, tmp_path: Path) -> None:
    next(study.clips.iterdir()).unlink()
    assert command("station", study.root, tmp_path / "carried") == 2


def test_the_desk_says_that_the_key_lies_beside_the_station(
    study: Study, sealed: Study, capsys: pytest.CaptureFixture[str]
) -> None:
    assert command("desk", study.root) == 0
    assert "the key lies beside the station" in capsys.readouterr().out
    assert command("simulate", sealed.root, "--passphrase-fd", descriptor_with(PHRASE)) == 0
    capsys.readouterr()
    assert command("desk", sealed.root) == 0
    said = capsys.readouterr().out
    assert "the key lies beside" not in said
    assert "head of the record: " in said
