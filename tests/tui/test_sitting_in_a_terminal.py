"""A complete sitting by keys, in a real terminal, over a real PortAudio whose sound is kept in a file."""

import os
import signal
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest

from listening.records.dealt.plan import Plan
from listening.records.study import Study
from listening.store import open_store
from tests import alsa, stations, terminal
from tests.terminal import Terminal

pytestmark = [alsa.needed, terminal.needed]


@contextmanager
def sitting(study: Study, environment: dict[str, str], more: str = "") -> Iterator[Terminal]:
    """The sit command of listener L01 in a terminal."""
    window = Terminal(f"{sys.executable} -m listening sit {study.root} --listener L01 {more}", environment)
    try:
        yield window
    finally:
        window.close()


def programme(plan: Plan, clips: tuple[str, ...]) -> np.ndarray:
    gap = np.zeros(round(plan.sitting.gap_s * plan.rate_hz))
    pieces = [stations.clip_samples(clips[0])]
    for clip in clips[1:]:
        pieces += [gap, stations.clip_samples(clip)]
    return np.concatenate(pieces)


def test_a_whole_sitting_sounds_as_planned_and_is_stored(tmp_path: Path) -> None:
    plan = stations.make_plan(n_trials=3, n_practice=1)
    study = stations.write_station(tmp_path / "study", plan)
    environment, captured = alsa.environment(tmp_path)
    with sitting(study, environment) as window:
        window.opening()
        for heading, answer in (
            ("Practice 1 of 1", "a"),
            ("Trial 1 of 3", "b"),
            ("Trial 2 of 3", "a"),
            ("Trial 3 of 3", "b"),
        ):
            window.one_trial(heading, answer)
        window.wait_for("The end")
        window.press("Enter")
        window.wait_for("ended-with-0")
    trials = plan.slots[0].trials
    stored = open_store(study.answers).answers()
    assert [(a.trial, a.clips, a.answer, a.plays) for a in stored] == [
        (trial.trial, trial.clips, answer, 1)
        for trial, answer in zip(trials, ("first", "second", "first", "second"), strict=True)
    ]
    assert all(0 < a.response_s < 20 for a in stored)
    sound, at = alsa.samples(captured), 0
    anchors = (stations.ANCHORS[0], stations.ANCHORS[1])
    for clips in ((stations.LEVEL_CLIP,), anchors, *(t.clips for t in trials)):
        piece = programme(plan, clips)
        at = alsa.find(piece, sound, at)
        assert at >= 0, f"{clips} did not sound, or not in this order"
        at += len(piece)
    heard = np.abs(sound[:, 0]) > 0
    planned = sum(len(c) for c in [(stations.LEVEL_CLIP,), anchors, *(t.clips for t in trials)]) * 800
    assert heard.sum() == pytest.approx(planned, rel=1e-3)  # and nothing else: noise is rarely exactly 0


@pytest.mark.parametrize(
    "number", [signal.SIGTERM, signal.SIGHUP, signal.SIGINT], ids=lambda number: number.name
)
def test_a_signal_leaves_the_terminal_as_it_was(tmp_path: Path, number: signal.Signals) -> None:
    study = stations.write_station(tmp_path / "study", stations.make_plan())
    environment, _ = alsa.environment(tmp_path)
    with Terminal("true", environment) as plain:
        before = plain.wait_for("ended-with-0", "settings-shown")
    with sitting(study, environment) as window:
        window.opening()
        window.wait_for("Practice 1 of 1")
        os.kill(window.process(), number)
        after = window.wait_for(f"ended-with-{128 + number}", "settings-shown")
        assert window.is_plain()
    settings = [line for line in before.splitlines() if "=" in line]
    assert [line for line in after.splitlines() if "=" in line and "listener" not in line] == settings
    assert "To go on at the same place" in after
    assert "--listener L01" in after
    assert [e.kind for e in open_store(study.answers).events()][-1] == "left"


def test_keys_ask_before_leaving_and_the_sitting_goes_on_later(tmp_path: Path) -> None:
    study = stations.write_station(tmp_path / "study", stations.make_plan(n_trials=2, n_practice=0))
    environment, _ = alsa.environment(tmp_path)
    with sitting(study, environment) as window:
        window.opening()
        window.one_trial("Trial 1 of 2", "a")
        window.wait_for("Trial 2 of 2")
        window.press("C-c")
        window.wait_for("Leave the test?")
        window.press("Escape")
        window.wait_for("Trial 2 of 2")
        window.press("Escape")
        window.wait_for("Leave the test?")
        window.wait_for("your code is L01")
        window.press("Enter")  # the reflex that goes on elsewhere does not leave
        window.press("y")
        window.wait_for("ended-with-0", "To go on at the same place")
    with Terminal(f"{sys.executable} -m listening sit {study.root}", environment) as window:
        window.wait_for("Have you begun this test before?", "I go on with my code")
        window.press("y")
        window.wait_for("Your code", "back")
        window.press("l", "0", "1")
        window.wait_for("Your code: L01_")
        window.press("Enter")
        window.wait_for("Welcome back", "go on")
        window.press("Enter")
        window.wait_for("Set the level")
        window.press("Space")
        window.wait_for("clear and comfortable, go on")
        window.press("Enter")
        window.one_trial("Trial 2 of 2", "b")
        window.wait_for("The end")
    assert [(a.trial, a.answer) for a in open_store(study.answers).answers()] == [
        ("001", "first"),
        ("002", "second"),
    ]


def test_a_second_process_on_the_same_sitting_is_sent_away(tmp_path: Path) -> None:
    study = stations.write_station(tmp_path / "study", stations.make_plan())
    environment, _ = alsa.environment(tmp_path)
    with sitting(study, environment) as window:
        window.wait_for("go on")
        with sitting(study, environment) as other:
            refused = other.wait_for("ended-with-2")
        assert "is open in another process" in refused.replace("\n", "")
        window.press("Enter")
        window.wait_for("Your agreement")


def test_an_altered_clip_stops_before_anyone_listens(tmp_path: Path) -> None:
    study = stations.write_station(tmp_path / "study", stations.make_plan())
    clip = study.clips / f"{stations.CODES[0]}.wav"
    clip.write_bytes(clip.read_bytes()[:-1])
    environment, captured = alsa.environment(tmp_path)
    with sitting(study, environment) as window:
        window.wait_for("ended-with-2", f"{stations.CODES[0]} (altered)")
    assert not captured.exists()


def test_without_portaudio_the_package_is_named_after_the_first_screen(tmp_path: Path) -> None:
    study = stations.write_station(tmp_path / "study", stations.make_plan())
    broken = tmp_path / "broken"
    broken.mkdir()
    (broken / "sounddevice.py").write_text("raise OSError('PortAudio library not found')")
    environment = {**os.environ, "PYTHONPATH": str(broken)}
    with sitting(study, environment) as window:
        window.wait_for("ended-with-2", "PortAudio is missing: install it with: sudo apt-get install")


@pytest.mark.parametrize(("columns", "rows"), [(80, 24), (200, 60)])
def test_every_size_of_terminal_holds_question_answers_and_keys(
    tmp_path: Path, columns: int, rows: int
) -> None:
    study = stations.write_station(tmp_path / "study", stations.make_plan(n_practice=0))
    environment, _ = alsa.environment(tmp_path)
    command = f"{sys.executable} -m listening sit {study.root} --listener L01"
    environment |= {"NO_COLOR": "1", "COLUMNS": "80", "LINES": "24"}  # as a shell may leave them
    with Terminal(command, environment, columns=columns, rows=rows) as window:
        window.opening()
        screen = window.wait_for("Trial 1 of 4", "Which of the two sounds is brighter?", "play")
        assert "[ ] A" in screen
        assert "[ ] B" in screen
        window.resize(50, 15)
        window.wait_for("This window is too small: 50 columns and 15 lines", "by itself")
        window.resize(90, 30)
        window.wait_for("Trial 1 of 4", "Press the space bar")
        window.press("q")
        window.wait_for("Q does nothing here. Keys that work now: Space, P, F1, Esc.")
        window.press("Space")
        window.wait_for("Trial 1 of 4", "Press the key beside", "Which of the two")


A, B, C, D, R = (stations.CODES[i] for i in range(5))
WAYS: dict[str, tuple[tuple[str, ...], dict[str, object], tuple[str, ...], str]] = {
    # task: clips, what else the plan says, keys after the sounds, stored answer
    "2-AFC": ((A, B), {}, ("b",), "second"),
    "comparison category": ((A, C), {"scale": [f"step {i}" for i in range(7)]}, ("6",), "+2"),
    "category rating": ((B,), {"scale": ["none", "little", "some", "much", "very much"]}, ("4",), "4"),
    "continuous rating": ((C,), {"scale": ["not at all", "extremely"]}, ("7", "2", "Left"), "71"),
    "same-different": ((D, A), {}, ("2",), "different"),
    "triangle": ((A, B, D), {}, ("c",), "third"),
    "duo-trio": ((C, D), {"reference": R}, ("a",), "first"),
    "multiple stimulus": ((A, D), {"reference": R, "scale": ["bad", "good"], "switching": True}, (), "30 80"),
    "adjustment": ((B, C), {"switching": True, "start_gain_db": 3.0}, (), "2.5"),
}


MARKED = ("You chose", "Press Enter to confirm", "Press Enter when")


def every_way() -> Plan:
    """One trial of each task but the paired comparison; nothing loops, as this device keeps no time."""
    plan = stations.make_plan()
    asked, trials = [], []
    for number, (task, (clips, more, _, _)) in enumerate(WAYS.items()):
        of_trial = {k: more[k] for k in ("reference", "start_gain_db") if k in more}
        of_attribute = {k: more[k] for k in ("switching",) if k in more}
        of_attribute["scale"] = tuple(more.get("scale", ()))  # type: ignore[arg-type]
        name = f"asked as {task}"
        asked.append(
            plan.attributes[0].model_copy(
                update={
                    "name": name,
                    "task": task,
                    "wording": f"Question of {task}",
                    "example_more": None,
                    "example_less": None,
                    **of_attribute,
                }
            )
        )
        trials.append(
            plan.slots[0]
            .trials[0]
            .model_copy(
                update={
                    "trial": f"{number:03d}",
                    "attribute": name,
                    "clips": clips,
                    "practice": False,
                    **of_trial,
                }
            )
        )
    slot = plan.slots[0].model_copy(update={"trials": tuple(trials)})
    rules = stations.rules(break_every_trials=50)
    return plan.model_copy(update={"attributes": tuple(asked), "slots": (slot,), "sitting": rules})


def test_every_way_of_asking_can_be_sat_by_keys(tmp_path: Path) -> None:
    plan = every_way()
    study = stations.write_station(tmp_path / "study", plan)
    environment, captured = alsa.environment(tmp_path)
    with sitting(study, environment) as window:
        window.to_level_check()
        for task, (_, _, keys, _) in WAYS.items():
            window.wait_for("What you will be asked", f"Question of {task}", "I understand")
            window.press("Enter")
            window.wait_for("Trial", f"Question of {task}", "Press the space bar")
            if task == "multiple stimulus":
                for key, after in (("r", "Still unheard: A, B"), ("a", "Still unheard: B")):
                    window.press(key)
                    window.wait_for(after)
                window.press("3", "0", "b")
                window.wait_for("Set the mark")
                window.press("8", "0")
            elif task == "adjustment":
                window.press("a")
                window.wait_for("Still unheard: B")
                window.press("b")
                window.wait_for("Turn sound B")
                window.press("Left")
            else:
                window.press("Space")
                window.wait_for("Set the mark" if task == "continuous rating" else "Press the key beside")
                window.press(*keys)
            window.wait_until(
                lambda s: any(told in " ".join(s.split()) for told in MARKED),
                "an answer",
            )
            window.press("Enter")
        window.wait_for("The end")
    answers = open_store(study.answers).answers()
    assert [(a.task, a.clips, a.answer) for a in answers] == [
        (task, clips, stored) for task, (clips, _, _, stored) in WAYS.items()
    ]
    sound, at = alsa.samples(captured), 0
    in_turn = [t for t in plan.slots[0].trials if t.attribute.split("as ")[1] not in ("adjustment",)]
    for trial in in_turn:
        heard = (trial.reference, *trial.clips) if trial.reference else trial.clips
        apart = "multiple" in trial.attribute
        for clips in ((c,) for c in heard) if apart else (heard,):
            piece = programme(plan, clips)
            at = alsa.find(piece, sound, at)
            assert at >= 0, f"{trial.attribute}: {clips} did not sound in this order"
            at += len(piece)
    softer = np.float32(10 ** (-6 / 20))  # an adjustment plays 6 dB down, to leave room upwards
    assert alsa.find(stations.clip_samples(B).astype(np.float32) * softer, sound, at) >= at
