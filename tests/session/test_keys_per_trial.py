"""How many keys a trial takes: at most three for a pair, two beyond the number for a rating."""

from pathlib import Path

import pytest

from listening.records.dealt.plan import PlannedAttribute, PlannedTrial, Slot
from listening.records.kinds.tasks import TASKS
from listening.session.showing.view import Stage
from tests import stations
from tests.stations import Bench, make_plan, take_seat

A, B, C, D, E, R = stations.CODES
SCALE = {"category rating": 5, "comparison category": 7, "continuous rating": 2, "multiple stimulus": 2}
OPENED = ("enter", "y", "space", "enter", "enter")


def asked(folder: Path, task: str, n_trials: int = 3) -> Bench:
    """At the first of some trials of that task."""
    attribute = PlannedAttribute(
        name="brightness",
        task=task,
        question="?",
        explanation="",
        scale=tuple(f"label {i}" for i in range(SCALE.get(task, 0))),
        switching=TASKS[task].always_switching,
    )
    n_sounds = TASKS[task].sounds or 2
    needs_r = TASKS[task].has_hidden_reference or TASKS[task].picks == "like the reference"
    trials = tuple(
        PlannedTrial(
            trial=f"{i}",
            attribute="brightness",
            clips=stations.CODES[:n_sounds],
            reference=R if needs_r else None,
        )
        for i in range(n_trials)
    )
    plan = make_plan(attributes=(attribute,), slots=(Slot(slot=0, trials=trials),))
    bench = take_seat(folder, plan)
    press(bench, *OPENED)
    assert bench.sitting.stage is Stage.TRIAL
    return bench


def press(bench: Bench, *keys: str) -> int:
    """Press keys as a screen takes them; how many."""
    for key in keys:
        act = next((offer.name for offer in bench.sitting.actions() if offer.key == key), None)
        assert act is not None, f"{key} does nothing: {[o.key for o in bench.sitting.actions()]}"
        assert bench.sitting.act(act)
        bench.sitting.tick()
    return len(keys)


@pytest.mark.parametrize(
    ("task", "answer"),
    [
        ("paired comparison", "b"),
        ("2-AFC", "b"),
        ("same-different", "2"),
        ("triangle", "c"),
        ("duo-trio", "a"),
        ("comparison category", "6"),
        ("category rating", "4"),
    ],
)
def test_a_choice_takes_three_keys_a_trial(tmp_path: Path, task: str, answer: str) -> None:
    bench = asked(tmp_path, task)
    spent = [press(bench, "space", answer, "enter") for _ in range(3)]
    assert max(spent) <= 3
    assert bench.sitting.stage is Stage.GOODBYE, "no key between one trial and the next"
    assert len(bench.store.answers()) == 3


def test_a_rating_takes_two_keys_beyond_the_number(tmp_path: Path) -> None:
    """Space, the digits, Enter; the same Enter takes the number and confirms it."""
    bench = asked(tmp_path, "continuous rating")
    for number in ("72", "5", "100"):
        assert press(bench, "space", *number, "enter") - len(number) <= 2
    assert [a.answer for a in bench.store.answers()] == ["72", "5", "100"]


def test_many_sounds_take_their_letter_and_number_and_one_key(tmp_path: Path) -> None:
    """R, then each sound's letter and its number, which the next letter takes; Enter confirms."""
    bench = asked(tmp_path, "multiple stimulus", n_trials=1)
    keys = ("r", "a", "3", "0", "b", "8", "0", "enter")
    assert press(bench, *keys) - len("30" + "80") <= 3 + 1  # a letter for each sound, and one key
    assert [a.answer for a in bench.store.answers()] == ["30 80"]
