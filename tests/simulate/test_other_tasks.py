"""Simulated listeners answer every task through the real session, and their answers follow the truth."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from listening.design.dealing import Dealt, deal
from listening.records.dealt.plan import PlannedAttribute, PlannedTrial
from listening.records.kinds.tasks import TASKS as TASK_LIST
from listening.records.protocols import protocol
from listening.records.protocols.protocol import Protocol
from listening.simulate import answering, panel, percepts
from listening.simulate import run as simulate
from listening.store import open_store
from tests import bells

SCALES: dict[str, list[str]] = {
    "comparison category": [str(i) for i in range(7)],
    "category rating": [str(i) for i in range(9)],
    "continuous rating": ["not at all", "extremely"],
    "multiple stimulus": ["not at all", "extremely"],
    "triple stimulus": ["very annoying", "annoying", "slightly annoying", "not annoying", "imperceptible"],
}
TASKS = sorted(set(TASK_LIST) - {"paired comparison"})


def asked(task: str, n_listeners: int = 12, repeats: int = 2) -> tuple[Protocol, Dealt]:
    """The bells, asked for brightness in one of the other ways."""
    plain = protocol.load(bells.PROTOCOL)
    attribute = plain.attributes[0].model_dump() | {"task": task, "scale": SCALES.get(task, [])}
    attribute["scale_standard"] = "own" if task in SCALES else ""
    block: dict[str, Any] = {"attribute": "brightness", "presentation": "matched", "repeats": repeats}
    if TASK_LIST[task].has_hidden_reference:
        block["reference"] = "dome_c/free"
    changed = Protocol.model_validate(
        plain.model_dump()
        | {"attributes": [attribute], "blocks": [block], "controls": [], "questions": [], "stopping": {}}
        | {"panel": plain.panel.model_dump() | {"listeners": n_listeners}}
    )
    made = deal(
        changed, bells.manifest(), protocol_digest="p" * 64, secret="0" * 31 + "1", dealt_at="2030-01-01"
    )
    return changed, made


def ratings(task: str) -> dict[str, float]:
    """Mean rating of each design."""
    _, made = asked(task)
    heard = percepts.of_study(made.key, bells.manifest())
    condition = {clip.clip: clip.condition for clip in made.key.clips if clip.role == "study"}
    found: dict[str, list[float]] = {}
    for answer in panel.answers(made.plan, heard, n_listeners=12, seed=1):
        for clip, value in zip(answer.clips, answer.answer.split(), strict=True):
            if clip in condition:
                found.setdefault(condition[clip], []).append(float(value))
    return {name: float(np.mean(values)) for name, values in found.items()}


@pytest.mark.parametrize("task", ["category rating", "continuous rating", "multiple stimulus"])
def test_the_brightest_design_is_rated_brightest(task: str) -> None:
    found = ratings(task)
    assert max(found, key=lambda name: found[name]) == "dome_d/free"
    assert found["dome_d/free"] > found["dome_c/free"] > found["dome_a/free"]


def test_in_bands_of_quality_what_is_nearest_to_the_reference_is_graded_best() -> None:
    attribute = PlannedAttribute(
        name="quality",
        task="multiple stimulus",
        question="?",
        explanation="",
        scale=("a",) * 5,
        scale_bands=True,
    )
    trial = PlannedTrial(trial="1", attribute="quality", clips=("a", "b", "c"), reference="r")
    heard = answering.Heard(attribute, trial, np.array([1.0, 0.2, -3.0]), 0.0, np.zeros(3))
    assert answering.answer(heard, np.random.default_rng(0)) == "92 100 72"  # 10 points a logit of distance


def test_triangles_with_a_clear_difference_beat_chance_and_others_do_not() -> None:
    _, made = asked("triangle", n_listeners=24, repeats=4)
    heard = percepts.of_study(made.key, bells.manifest())
    clip = {c.clip: c for c in made.key.clips}
    right: dict[bool, list[bool]] = {True: [], False: []}
    for answer in panel.answers(made.plan, heard, n_listeners=24, seed=1):
        names = [clip[c].condition for c in answer.clips]
        odd = next(i for i, name in enumerate(names) if names.count(name) == 1)
        pair = set(names)
        if pair in ({"dome_a/free", "dome_d/free"}, {"dome_a/free", "dome_b/free"}):
            right["dome_d/free" in pair].append(answer.answer == ("first", "second", "third")[odd])
    chance_margin = 4 * np.sqrt(2 / 9 / 96)  # four standard errors of 96 guesses; quirks of 0.15 add little
    assert np.mean(right[True]) > 1 / 3 + chance_margin
    assert abs(np.mean(right[False]) - 1 / 3) < chance_margin


@pytest.mark.parametrize("task", TASKS)
def test_every_task_goes_through_the_session(tmp_path: Path, task: str) -> None:
    study = bells.write_study(tmp_path, made=asked(task, n_listeners=1, repeats=1)[1])
    n_answers = simulate.run(study, seed=1)
    stored = [a for a in open_store(study.answers).answers() if not a.practice]
    made = asked(task, n_listeners=1, repeats=1)[1]
    heard = percepts.of_study(made.key, bells.manifest())
    fast = panel.answers(made.plan, heard, n_listeners=1, seed=1)
    assert [a.answer for a in stored] == [a.answer for a in fast]
    assert len(stored) == n_answers > 0
