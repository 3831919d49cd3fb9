"""What the researcher does at a station: devices, calibration, desk, withdrawal."""

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from listening import cli
from listening.commands import desk
from listening.records.dealt.plan import Plan
from listening.records.sounds.level import Level
from listening.simulate import run as simulate
from listening.store import open_store
from tests import alsa, bells, stations


def listening(*words: str, environment: dict[str, str]) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "listening", *words],
        env=environment,
        capture_output=True,
        text=True,
        timeout=60,
    )


@alsa.needed
def test_the_channel_test_goes_left_right_both(tmp_path: Path) -> None:
    environment, captured = alsa.environment(tmp_path)
    listed = json.loads(listening("devices", "--json", environment=environment).stdout)
    assert "default" in [device["name"] for device in listed["devices"]]
    done = listening("devices", "--test", "default", environment=environment)
    assert done.returncode == 0, done.stderr
    sound = alsa.samples(captured)
    heard = [(bool(left), bool(right)) for left, right in np.abs(sound[::100]) > 1e-4]
    steps = [pair for i, pair in enumerate(heard) if any(pair) and (i == 0 or pair != heard[i - 1])]
    once = list(dict.fromkeys(steps))
    assert once == [(True, False), (False, True), (True, True)]


@alsa.needed
def test_a_station_is_calibrated_with_a_meter(tmp_path: Path) -> None:
    study = stations.write_station(tmp_path / "study", stations.make_plan())
    environment, captured = alsa.environment(tmp_path)
    folder = str(study.root)
    assert "uncalibrated" in listening("level", folder, environment=environment).stdout
    played = listening("level", folder, "--play", "--side", "left", "--seconds", "1", environment=environment)
    assert played.returncode == 0, played.stderr
    sound = alsa.samples(captured)
    steady = sound[np.flatnonzero(sound[:, 0])[0] + 1000 :][:4000]  # 1 kHz at 8 kHz: whole periods
    assert 20 * np.log10(np.sqrt(np.mean(steady[:, 0] ** 2))) == pytest.approx(-20.0, abs=0.01)
    assert not sound[:, 1].any()
    reading = ["--reading", "60", "--headphones", "HP 1", "--side", "left", "--device", "default"]
    refused = listening("level", folder, *reading, environment=environment)
    assert (refused.returncode, study.level.exists()) == (2, False)
    assert "--coupler" in refused.stderr
    stored = listening("level", folder, *reading, "--coupler", "IEC 60318-1", environment=environment)
    assert stored.returncode == 0, stored.stderr
    assert "0 dB re full scale (RMS) is 80.0 dB at the ear" in stored.stdout
    assert Level.load(study.level).device == "default"


@alsa.needed
def test_a_station_that_is_too_loud_is_not_calibrated(tmp_path: Path) -> None:
    study = stations.write_station(tmp_path / "study", stations.make_plan())
    environment, _ = alsa.environment(tmp_path)
    words = ["--reading", "99", "--headphones", "HP 1", "--coupler", "IEC 60318-1", "--device", "default"]
    done = listening("level", str(study.root), *words, environment=environment)
    assert done.returncode == 2
    assert "turn the amplifier down by" in done.stderr
    assert not study.level.exists()


def shown(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str]:
    code = cli.main(list(words))
    told = capsys.readouterr()
    return code, told.out + told.err


def test_the_desk_shows_how_far_everybody_is_and_no_answer(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    study = bells.write_study(tmp_path, n_listeners=3)
    simulate.run(study, n_listeners=2, seed=1)
    code, text = shown(capsys, "desk", str(study.root))
    assert code == 0
    assert "S001 (simulated)" in text
    assert "3 slots dealt, 2 begun, 2 finished" in text
    row: dict[str, Any] = json.loads(shown(capsys, "desk", str(study.root), "--json")[1])["sittings"][0]
    assert row["done"] == row["trials"] > 0
    for hidden in ("dome_", "first", "second", "matched"):
        assert hidden not in text


def test_the_desk_tells_who_declined_who_was_not_sure_and_why_a_play_did_not_count(tmp_path: Path) -> None:
    study = bells.write_study(tmp_path, n_listeners=2)
    store = open_store(study.answers)
    for slot, listener in ((0, "L01"), (1, "L02")):
        store.start_sitting(listener, slots=[slot], study_digest="0" * 64)
    first, second = (s.id for s in store.sittings())
    store.note(first, "declined")
    for kind, detail in (
        ("agreed", ""),
        ("level set", "plays 1"),
        ("introduced", "brightness|not sure|plays 2"),
    ):
        store.note(second, kind, detail=detail)
    store.void(second, "001", "device lost; plays 1")
    declined, sits = desk.rows(study, Plan.load(study.plan))
    assert (declined.state, declined.stage) == ("declined", "not taking part")
    assert (sits.state, sits.stage) == ("sits", "trials")
    assert (sits.not_sure, sits.void_reasons) == (("brightness",), ("device lost",))


def test_a_withdrawal_needs_a_yes_and_tells_what_is_out_of_date(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    study = bells.write_study(tmp_path, n_listeners=2)
    simulate.run(study, seed=1)
    study.report.mkdir()
    claims, paper = study.report / "claims.html", study.report / "report.pdf"
    for page in (study.page, claims):
        page.write_text("<html><body class='x'><h1>Results</h1></body></html>")
    paper.write_bytes(b"%PDF")
    gone = open_store(study.answers).resume(listener="S001", simulated=True)
    assert gone is not None
    study.log.write_text(f"a line about sitting {gone.id}\na line about another\n")
    code, text = shown(capsys, "withdraw", str(study.root), "S001")
    assert code == 2
    assert "add --yes" in text
    assert len(open_store(study.answers).sittings()) == 2
    code, text = shown(capsys, "withdraw", str(study.root), "S001", "--yes")
    assert code == 0
    assert "out of date now" in text
    assert [s.listener for s in open_store(study.answers).sittings()] == ["S002"]
    for page in (study.page, claims):  # the sheet that marketing prints from as well
        assert page.read_text().startswith("<html><body class='x'><p role=\"alert\"")
    assert f"removed: {paper}" in text
    assert not paper.exists()
    assert study.log.read_text() == "a line about another\n"


def test_nobody_of_that_code_is_said_plainly(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    study = bells.write_study(tmp_path, n_listeners=1)
    simulate.run(study, seed=1)
    code, text = shown(capsys, "withdraw", str(study.root), "S099", "--yes")
    assert code == 2
    assert "no listener S099" in text


def test_the_desk_sees_a_call_for_help_and_its_request_reaches_the_sitting(tmp_path: Path) -> None:
    plan = stations.make_plan(n_trials=4, n_practice=0)
    study = stations.write_station(tmp_path / "study", plan)
    bench = stations.take_seat(study.station, Plan.load(study.plan))
    stations.walk(bench.sitting, *stations.OPENING)
    for _ in range(3):
        stations.one_trial(bench.sitting)
    stations.walk(bench.sitting, "help")
    (row,) = desk.rows(study, Plan.load(study.plan))
    assert row.is_calling
    assert len(row.calls) == 1
    assert row.minutes_to_go == 1  # one trial left, seconds apart on the test's wall clock
    assert any("L01" in line and "called for help at" in line for line in desk._lines([row], plan))
    desk.ask(study, "L01", "pause")
    bench.clock.s += 31
    bench.sitting.tick()
    assert bench.sitting.stage.value == "pause"
