"""A new deal cut before any step: no answer and no key is lost, dealing again ends as if never cut."""

import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from listening.design import versions
from listening.errors import StudyError
from listening.records.dealt import record
from listening.records.forms import form, frozen
from listening.records.forms.form import write_text
from listening.records.protocols.protocol import Protocol
from listening.records.study import Study, open_study
from listening.steps import study_deal as command
from listening.stimuli import folder
from listening.store import hold, open_store
from tests import cuts
from tests.design.conftest import Maker, written

WHY = "the second strike was mislabelled"
PRECIOUS = (
    "sealed/",
    "station/answers.sqlite",
    "station/plan.json",
    "findings.json",
    "report/",
    "protocol.toml",
)


def _deal(study: Study, again: str = "") -> None:
    command.deal(study, secret="0123456789abcdef" * 2, dealt_at="2026-01-01T00:00:00+00:00", again=again)


@pytest.fixture(autouse=True)
def _sweep_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(form, "LEFTOVER_S", -1.0)
    monkeypatch.setattr(folder, "LEFTOVER_S", -1.0)
    cuts.without_waiting(monkeypatch)


@pytest.fixture
def prepared(tmp_path: Path, made: Maker, protocol_text: Callable[[Protocol], str]) -> Study:
    """A small one: each further clip adds the same few steps once more."""
    chosen, manifest = made(2, controls=[{"attribute": "brightness", "gains_db": [3.0]}])
    return written(tmp_path / "study", manifest, protocol_text(chosen))


def _answered(study: Study) -> dict[str, str]:
    """Deal, and leave what a sitting and an analysis leave; what must never be lost."""
    _deal(study)
    store = open_store(study.answers)
    store.start_sitting("L01", slots=[0, 1], study_digest="0" * 64)
    store.close()
    write_text(study.findings, '{"findings": "old"}')
    write_text(study.page, "<p>old page</p>")
    return {k: v for k, v in cuts.contents(study.root).items() if k.startswith(PRECIOUS)}


def _copy(study: Study, place: Path) -> Study:
    shutil.rmtree(place, ignore_errors=True)
    shutil.copytree(study.root, place)
    return Study(place)


def test_a_new_deal_cut_before_any_step_loses_nothing_and_can_be_done_again(
    prepared: Study, tmp_path: Path
) -> None:
    precious = _answered(prepared)
    whole = _copy(prepared, tmp_path / "whole")
    _deal(whole, WHY)
    wanted = _but_the_record(whole)
    place = tmp_path / "cut"
    work = _copy(prepared, place)
    n_steps = cuts.n_steps(lambda: _deal(work, WHY))
    assert n_steps > 30
    for step in range(1, n_steps + 1):
        study = _copy(prepared, place)
        assert cuts.cut(lambda: _deal(study, WHY), step)  # noqa: B023  (called at once)
        assert not cuts.missing(precious, study.root), f"before step {step}"
        _again(study)
        frozen.check(study)
        assert _but_the_record(study) == wanted, f"cut before step {step}"
        assert not list(record.faults(study.record))


def _but_the_record(study: Study) -> dict[str, str]:
    """All but the record, which tells a deal that was cut after its line as well as the one that followed."""
    return {k: v for k, v in cuts.contents(study.root).items() if k != "record.jsonl"}


def _again(study: Study) -> None:
    try:
        _deal(study)
    except StudyError:  # the old deal is back in its place: say once more why
        _deal(study, WHY)


@pytest.mark.slow
def test_every_second_cut_of_a_cut_deal_loses_nothing_either(prepared: Study, tmp_path: Path) -> None:
    precious = _answered(prepared)
    place = tmp_path / "cut"
    work = _copy(prepared, place)
    n_steps = cuts.n_steps(lambda: _deal(work, WHY))
    for first in range(1, n_steps + 1, 3):
        study = _copy(prepared, place)
        for step in (first, 2, 5, 9):
            cuts.cut(lambda: _deal(study, WHY), step)  # noqa: B023
            assert not cuts.missing(precious, study.root), f"before steps {first}, {step}"


def test_the_reason_survives_the_cut(prepared: Study) -> None:
    _answered(prepared)
    versions.set_aside(prepared, WHY)  # and the process is gone
    _deal(prepared)
    assert [(v.number, v.reason) for v in versions.history(prepared).versions] == [(1, ""), (2, WHY)]


def test_other_commands_say_that_a_deal_was_cut_off(prepared: Study) -> None:
    _answered(prepared)
    half = prepared.half_set_aside(1)
    half.root.mkdir(parents=True)
    prepared.sealed.rename(half.sealed)
    with pytest.raises(StudyError, match="nothing is lost"):
        open_study(prepared.root)
    with pytest.raises(StudyError, match="answers exist"):
        _deal(prepared)
    assert prepared.key.is_file()


def test_a_leftover_that_cannot_go_back_is_named_and_left_alone(prepared: Study) -> None:
    _answered(prepared)
    half = prepared.half_set_aside(1)
    half.root.mkdir(parents=True)
    prepared.findings.rename(half.findings)
    write_text(prepared.findings, "newer")
    with pytest.raises(StudyError, match="exists by now"):
        _deal(prepared, WHY)
    assert half.findings.is_file()
    assert prepared.findings.read_text() == "newer"


def test_a_stranger_s_file_among_the_leftovers_is_left_alone(prepared: Study) -> None:
    _answered(prepared)
    half = prepared.half_set_aside(1)
    half.root.mkdir(parents=True)
    (half.root / "notes.txt").write_text("mine")
    with pytest.raises(StudyError, match=r"notes\.txt"):
        _deal(prepared, WHY)
    assert (half.root / "notes.txt").read_text() == "mine"


def test_no_deal_under_an_open_sitting(prepared: Study) -> None:
    before = _answered(prepared)
    leave = hold.stay(prepared.station)
    with pytest.raises(StudyError, match="a sitting is open"):
        _deal(prepared, WHY)
    assert {k: v for k, v in cuts.contents(prepared.root).items() if k.startswith(PRECIOUS)} == before
    leave()
    _deal(prepared, WHY)


def test_a_station_that_died_keeps_nobody_from_dealing(prepared: Study) -> None:
    _answered(prepared)
    dies = "import os, sys; from listening.store import hold; hold.stay(sys.argv[1]); os._exit(9)"
    subprocess.run([sys.executable, "-c", dies, str(prepared.station)], check=False)
    _deal(prepared, WHY)


def test_the_calibration_of_the_headphones_outlives_a_new_deal(prepared: Study) -> None:
    _answered(prepared)
    prepared.level.write_text("calibrated")
    _deal(prepared, WHY)
    assert prepared.level.read_text() == "calibrated"
