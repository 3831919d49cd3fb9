"""A drive that refuses locks, as some network drives do: the way out is said before anything is changed."""

import contextlib
import errno
import fcntl
import os
import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest

from listening.errors import CannotWrite
from listening.records.dealt import record
from listening.records.study import Study
from listening.steps import study_amendment, study_deal
from listening.store import engine, hold, open_store
from tests import cuts

ANSWERS = [errno.ENOLCK, errno.EOPNOTSUPP, errno.ENOSYS, errno.EINVAL]  # flock(2), flock(3) on network drives
WAY_OUT = (
    "this drive refuses locks .* copy the folder to a drive of this machine, or let stations share a server"
)


@pytest.fixture(params=ANSWERS, ids=errno.errorcode.get)
def refused(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    def flock(descriptor: object, kind: int) -> None:
        raise OSError(request.param, os.strerror(request.param))

    monkeypatch.setattr(fcntl, "flock", flock)


@pytest.mark.usefixtures("refused")
def test_a_sitting_a_deal_and_the_record_say_the_way_out(tmp_path: Path) -> None:
    with pytest.raises(CannotWrite, match=WAY_OUT):
        hold.hold(tmp_path / "sitting-1.lock", "1")
    with pytest.raises(CannotWrite, match=WAY_OUT), hold.alone(tmp_path, "somebody works here"):
        pass
    with pytest.raises(CannotWrite, match=WAY_OUT):
        record.append(tmp_path / "record.jsonl", at="2030-01-01", kind="step", told={})
    assert not record.load(tmp_path / "record.jsonl")


@pytest.mark.parametrize(
    "act",
    [
        lambda study: study_deal.deal(study, again="a strike was wrong"),
        lambda study: study_amendment.amend(study, "a word was wrong"),
    ],
    ids=["deal", "amend"],
)
def test_nothing_is_dealt_or_amended_half(
    act: Callable[[Study], object], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The locks are asked for before anything is moved (a deal was half made before the record refused)."""
    study = Study(tmp_path)
    study.station.mkdir()
    study.protocol.write_text("format = 1\n")
    before = cuts.contents(tmp_path)

    def flock(descriptor: object, kind: int) -> None:
        raise OSError(errno.ENOLCK, "No locks available")

    monkeypatch.setattr(fcntl, "flock", flock)
    monkeypatch.setattr(study_amendment, "_check_asked", lambda study, reason: None)
    with pytest.raises(CannotWrite, match=WAY_OUT):
        act(study)
    assert cuts.contents(tmp_path) == before


def test_a_store_that_gives_no_lock_says_both_causes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(engine, "WAIT_FOR_OTHERS_MS", 0)
    place = tmp_path / "answers.sqlite"
    open_store(place).close()
    with contextlib.closing(sqlite3.connect(place, isolation_level=None)) as other:
        other.execute("BEGIN EXCLUSIVE")
        with pytest.raises(CannotWrite, match="another program keeps it, or this drive refuses locks"):
            open_store(place).note(None, "x")
