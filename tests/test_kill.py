"""Killed at any instant, a sitting loses no acknowledged answer and goes on at the right trial."""

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from listening.records.dealt.plan import Plan
from listening.store import open_store
from tests import alsa, stations, terminal
from tests.terminal import Terminal

SITS = """
import os, signal, sys
from pathlib import Path
from tests import stations
from listening.session.showing.view import Stage

def sit(folder):
    rules = stations.rules(break_every_trials=500, break_at_least_s=0)
    plan = stations.make_plan(n_trials=2000, n_practice=0, n_slots=1, sitting=rules)
    bench = stations.take_seat(folder, plan)
    sitting = bench.sitting
    while sitting.stage not in (Stage.TRIAL, Stage.GOODBYE):
        offered = [a.name for a in sitting.actions() if a.name in stations.OPENING]
        stations.walk(sitting, *(offered[:1] or ["go_on"]))
        if sitting.stage is Stage.LEVEL and sitting.state.turn.finished:
            stations.walk(sitting, "level_right")
        elif sitting.stage is Stage.INTRODUCTION and sitting.state.turn.finished:
            stations.walk(sitting, "understood")
    while sitting.stage in (Stage.TRIAL, Stage.BREAK):
        if sitting.stage is Stage.BREAK:
            stations.walk(sitting, "go_on")
            continue
        trial = sitting.state.trial
        print("asked", trial.trial, *trial.clips, flush=True)
        stations.one_trial(sitting, "second" if int(trial.trial) % 3 else "first")
        print("stored", trial.trial, flush=True)
    print("done", flush=True)

signal.signal(signal.SIGCHLD, signal.SIG_IGN)
for line in sys.stdin:  # a folder: one more process that sits there, without starting Python anew
    if pid := os.fork():
        print(pid, flush=True)
        continue
    try:
        os.dup2(os.open(Path(line.strip()) / "said", os.O_WRONLY), 1)
        sit(Path(line.strip()))
    finally:
        os._exit(1)
"""


def kill_again_and_again(folder: Path, n_kills: int, seed: int) -> None:
    """Run a sitting, kill it at a random instant, check, and run it again."""
    plan = stations.make_plan(n_trials=2000, n_practice=0, n_slots=1)
    rng = random.Random(seed)
    acknowledged: list[str] = []
    os.mkfifo(folder / "said")
    root = Path(__file__).resolve().parents[1]
    pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE}
    with subprocess.Popen([sys.executable, "-c", SITS], text=True, cwd=root, **pipes) as sits:
        for _ in range(n_kills):
            lines = _until_killed(sits, folder, rng)
            asked = [line.split()[1:] for line in lines if line.startswith("asked")]
            acknowledged += [line.split()[1] for line in lines if line.startswith("stored")]
            stored = [a.trial for a in open_store(folder / "answers.sqlite").answers()]
            assert stored[: len(acknowledged)] == acknowledged, "an acknowledged answer is gone"
            assert len(stored) - len(acknowledged) in (0, 1)  # one may be stored and not yet acknowledged
            acknowledged = stored
            _check_asked(plan, asked)
    answers = open_store(folder / "answers.sqlite").answers()
    assert [a.trial for a in answers] == [f"{i + 1:03d}" for i in range(len(answers))]
    assert [a.answer for a in answers] == ["second" if int(a.trial) % 3 else "first" for a in answers], (
        "an answer changed"
    )
    assert len(answers) > n_kills


def _until_killed(sits: subprocess.Popen[str], folder: Path, rng: random.Random) -> list[str]:
    if sits.stdin is None or sits.stdout is None:
        raise LookupError("no pipe")
    print(folder, file=sits.stdin, flush=True)
    pid = int(sits.stdout.readline())
    with (folder / "said").open() as said:
        lines_first = rng.randint(3, 12)  # some trials on at any speed, then an instant within one
        first = "".join(said.readline() for _ in range(lines_first))
        time.sleep(rng.uniform(0.0, 0.05))
        os.kill(pid, signal.SIGKILL)
        rest = said.read()  # to its end: the process is gone
    lines = (first + rest).splitlines()
    return lines if rest.endswith("\n") or not rest else lines[:-1]  # the last line may be cut


def _check_asked(plan: Plan, asked: list[list[str]]) -> None:
    trials = {t.trial: t.clips for t in plan.slots[0].trials}
    for trial, *clips in asked:
        assert tuple(clips) == trials[trial], "a resumed trial has other clips"


def test_ten_kills_lose_nothing(tmp_path: Path) -> None:
    kill_again_and_again(tmp_path, n_kills=10, seed=1)


@pytest.mark.slow
def test_two_hundred_kills_lose_nothing(tmp_path: Path) -> None:
    for run in range(10):  # fresh stores, so that the trials are never used up
        folder = tmp_path / str(run)
        folder.mkdir()
        kill_again_and_again(folder, n_kills=20, seed=100 + run)


@alsa.needed
@terminal.needed
def test_the_real_program_goes_on_after_a_kill_in_mid_trial(tmp_path: Path) -> None:
    study = stations.write_station(tmp_path / "study", stations.make_plan(n_trials=2, n_practice=0))
    environment, _ = alsa.environment(tmp_path)
    command = f"{sys.executable} -m listening sit {study.root} --listener L01"
    with Terminal(command, environment) as window:
        window.opening()
        window.one_trial("Trial 1 of 2", "b")
        window.wait_for("Trial 2 of 2")
        window.press("Space")
        window.wait_for("Trial 2 of 2", "Press the key beside")
        window.press("a")
        window.wait_for("You chose")
        os.kill(window.process(), signal.SIGKILL)
        window.wait_for("ended-with-137")
    with Terminal(command, environment) as window:
        window.wait_for("Welcome back", "go on")
        window.press("Enter")
        window.wait_for("Set the level")
        window.press("Space")
        window.wait_for("clear and comfortable, go on")
        window.press("Enter")
        window.wait_for("Trial 2 of 2", "not heard yet")
    assert [(a.trial, a.answer) for a in open_store(study.answers).answers()] == [("001", "second")]
