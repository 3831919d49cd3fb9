"""What each task deals: complete, balanced over listeners, and no plan that tells which sounds are alike."""

from collections import Counter
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from listening.audio import wav
from listening.design import dealing
from listening.errors import StudyError
from listening.records.keys.key import Key
from listening.records.kinds import tasks
from listening.records.protocols import protocol as protocol_form
from listening.records.protocols.protocol import Protocol
from listening.records.sounds.manifest import Manifest
from listening.records.study import Study
from listening.steps import study_deal as command

Maker = Callable[..., tuple[Protocol, Manifest]]
SCALES: dict[str, dict[str, Any]] = {
    "comparison category": {"scale": [str(i) for i in range(7)], "scale_standard": "ITU-T P.800 annex E"},
    "category rating": {"scale": ["none", "little", "some", "much", "very much"], "scale_standard": "own"},
    "continuous rating": {"scale": ["not at all", "extremely"], "scale_standard": "own"},
    "multiple stimulus": {"scale": ["bad", "poor", "fair", "good", "excellent"], "scale_standard": "own"},
    "triple stimulus": {
        "scale": ["very annoying", "annoying", "slightly annoying", "not annoying", "imperceptible"],
        "scale_standard": "ITU-R BS.1116-3",
    },
}
TASKS = sorted(set(tasks.TASKS) - {"paired comparison"})


def asked_as(task: str) -> dict[str, Any]:
    """Protocol parts of one attribute asked as `task`."""
    attribute = {
        "name": "brightness",
        "task": task,
        "wording": "How bright?",
        "comparative": "brighter",
        **SCALES.get(task, {}),
    }
    return {"attributes": [attribute], "questions": []}


def dealt(
    made: Maker, task: str, *, listeners: int = 12, block: dict[str, Any] | None = None
) -> dealing.Dealt:
    chosen, manifest = made(4, listeners=listeners)
    parts: dict[str, Any] = asked_as(task)
    row = {"attribute": "brightness", "presentation": "matched", **(block or {})}
    if tasks.TASKS[task].has_hidden_reference:
        row.setdefault("reference", "c00/free")
    chosen = Protocol.model_validate({**chosen.model_dump(), **parts, "blocks": [row]})
    return dealing.deal(chosen, manifest, protocol_digest="p" * 64, secret="ab" * 16, dealt_at="2030")


def counted(made: dealing.Dealt) -> list[Any]:
    return [t for slot in made.plan.slots for t in slot.trials if not t.practice]


@pytest.mark.parametrize("task", TASKS)
def test_every_task_deals_trials_of_codes_that_the_key_knows(made: Maker, task: str) -> None:
    result = dealt(made, task)
    known = {clip.clip for clip in result.key.clips}
    for trial in counted(result):
        assert set(trial.clips) <= known
        assert len(set(trial.clips)) == len(trial.clips), "a code stands twice: the plan tells what is alike"
        assert trial.reference is None or trial.reference not in trial.clips


@pytest.mark.parametrize("task", ["category rating", "continuous rating"])
def test_single_sounds_come_equally_often(made: Maker, task: str) -> None:
    result = dealt(made, task, listeners=6, block={"repeats": 2})
    stimulus = {clip.clip: clip.stimulus for clip in result.key.clips}
    counts = Counter(stimulus[t.clips[0]] for t in counted(result))
    assert set(counts.values()) == {4}  # 6 listeners, 2 repeats, 3 strikes
    assert len(counts) == 12


@pytest.mark.parametrize(("task", "n_orders"), [("triangle", 6), ("same-different", 4), ("duo-trio", 4)])
def test_difference_tests_use_all_orders_equally(made: Maker, task: str, n_orders: int) -> None:
    result = dealt(made, task, listeners=12)
    condition = {clip.clip: clip.condition for clip in result.key.clips}
    patterns: Counter[tuple[str, ...]] = Counter()
    for trial in counted(result):
        heard = [condition[c] for c in (trial.reference, *trial.clips) if c]
        if {"c00/free", "c01/free"} >= set(heard):
            patterns[tuple(heard)] += 1
    both = {p: n for p, n in patterns.items() if len(set(p)) == 2}
    if task == "same-different":  # trials of one sound belong to several pairs of conditions
        assert set(both.values()) == {3}
    else:
        assert len(both) == n_orders
        assert set(both.values()) == {12 // n_orders}


def test_a_triangle_has_two_like_sounds_and_one_odd(made: Maker) -> None:
    result = dealt(made, "triangle")
    stimulus = {clip.clip: clip.stimulus for clip in result.key.clips}
    for trial in counted(result):
        assert sorted(Counter(stimulus[c] for c in trial.clips).values()) == [1, 2]


def test_the_duo_trio_reference_is_one_of_the_two(made: Maker) -> None:
    result = dealt(made, "duo-trio")
    stimulus = {clip.clip: clip.stimulus for clip in result.key.clips}
    for trial in counted(result):
        assert [stimulus[c] for c in trial.clips].count(stimulus[trial.reference]) == 1


def test_a_multiple_stimulus_trial_hides_its_reference(made: Maker) -> None:
    result = dealt(made, "multiple stimulus", listeners=40)
    clip = {c.clip: c for c in result.key.clips}
    places: Counter[int] = Counter()
    for trial in counted(result):
        assert sorted(clip[c].condition for c in trial.clips) == [f"c{i:02d}/free" for i in range(4)]
        hidden = [c for c in trial.clips if clip[c].stimulus == clip[trial.reference].stimulus]
        assert len(hidden) == 1
        places[trial.clips.index(hidden[0])] += 1
    assert set(places) == {0, 1, 2, 3}


def test_a_multiple_stimulus_block_needs_its_reference(made: Maker) -> None:
    with pytest.raises(StudyError, match="reference is 'nothing', wanted one of the conditions: c00/free"):
        dealt(made, "multiple stimulus", block={"reference": "nothing"})


def test_a_triple_stimulus_trial_hides_the_reference_beside_one_object(made: Maker) -> None:
    result = dealt(made, "triple stimulus", listeners=24)
    clip = {c.clip: c for c in result.key.clips}
    places: dict[str, Counter[int]] = {}
    for trial in counted(result):
        stimuli = [clip[c].stimulus for c in trial.clips]
        hidden = stimuli.index(clip[trial.reference].stimulus)
        places.setdefault(clip[trial.clips[1 - hidden]].condition, Counter())[hidden] += 1
    assert set(places) == {"c01/free", "c02/free", "c03/free"}
    assert all(count[0] == count[1] == 12 for count in places.values())


def test_no_code_of_a_triple_stimulus_plan_comes_with_two_others(made: Maker) -> None:
    """A hidden reference under one code for all objects would stand out by how many partners it has."""
    result = dealt(made, "triple stimulus", listeners=24)
    partners: dict[str, set[str]] = {}
    for trial in counted(result):
        one, other = trial.clips
        partners.setdefault(one, set()).add(other)
        partners.setdefault(other, set()).add(one)
    assert {len(found) for found in partners.values()} == {1}


@pytest.mark.parametrize("name", ["nothing", "c00/free"])
def test_an_anchor_is_a_condition_other_than_the_reference(made: Maker, name: str) -> None:
    with pytest.raises(StudyError, match=f"mid_anchor is '{name}', wanted a condition other than"):
        dealt(made, "multiple stimulus", block={"mid_anchor": name})


def test_adjustments_start_off_as_often_above_as_below(made: Maker) -> None:
    starts = [t.start_gain_db for t in counted(dealt(made, "adjustment"))]
    assert all(3.0 <= abs(s) <= 6.0 for s in starts)
    assert sum(s > 0 for s in starts) == sum(s < 0 for s in starts)


def test_copies_have_other_bytes_and_the_same_sound(
    prepared: Study, protocol_text: Callable[[Protocol], str]
) -> None:
    protocol = protocol_form.load(prepared.protocol)
    plain = protocol.model_dump()
    parts = asked_as("triangle")
    altered = Protocol.model_validate({**plain, **parts, "controls": []})
    prepared.protocol.write_text(protocol_text(altered))
    manifest = Manifest.load(prepared.manifest)
    manifest.model_copy(update={"protocol_digest": protocol_form.digest(prepared.protocol)}).save(
        prepared.manifest
    )
    plan, _ = command.deal(prepared, secret="ab" * 16, dealt_at="2030")
    key = Key.load(prepared.key)
    digests = [clip.digest for clip in plan.clips]
    alike: dict[str, list[str]] = {}
    for clip in key.clips:
        if clip.role == "study":
            alike.setdefault(clip.stimulus, []).append(clip.clip)
    assert len(set(digests)) == len(digests)
    for codes in (c for c in alike.values() if len(c) == 2):
        one, two = (wav.load(prepared.clips / f"{c}.wav").samples[:, 0] for c in codes)
        spectra = [np.abs(np.fft.rfft(sound))[:-1] for sound in (one, two)]
        assert abs(one - two).max() > 100 / 2**23  # moved against each other
        assert abs(spectra[0] - spectra[1]).max() < 10 * 0.5 / 2**23 * np.sqrt(
            len(one)
        )  # and alike but for dither


def test_a_scale_of_the_wrong_length_is_refused() -> None:
    with pytest.raises(ValueError, match=r"needs `scale` with 5 or 9 labels \(found 2\)"):
        protocol_form.Attribute(
            name="x", task="category rating", wording="How?", comparative="more", scale=["a", "b"]
        )


def test_only_a_comparison_decides_a_question(made: Maker) -> None:
    chosen, _ = made(4)
    parts = {**asked_as("triangle"), "questions": [q.model_dump() for q in chosen.questions]}
    with pytest.raises(ValueError, match="only that decides a question"):
        Protocol.model_validate({**chosen.model_dump(), **parts})
