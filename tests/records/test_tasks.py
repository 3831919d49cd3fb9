"""One home for the ways of asking: nothing else in the code names one."""

import ast
from pathlib import Path

import pytest

from listening.design import forms
from listening.records.kinds import tasks
from listening.records.protocols.protocol_parts import Attribute
from listening.simulate import answering
from stats.discrimination import psychometric

CODE = Path(__file__).parents[2] / "listening"
TELLING = {task.name for task in tasks.ALL}
MAY_NAME = {"records/kinds/tasks.py", "planning/starters.py"}  # the list; starters write protocols


def _names_in(source: str) -> list[str]:
    tree = ast.parse(source)
    return [n.value for n in ast.walk(tree) if isinstance(n, ast.Constant) and n.value in TELLING]


@pytest.mark.parametrize(
    "path", [p for p in CODE.rglob("*.py") if str(p.relative_to(CODE)) not in MAY_NAME], ids=lambda p: p.stem
)
def test_no_other_file_names_a_task(path: Path) -> None:
    assert _names_in(path.read_text()) == []


def test_the_check_sees_a_name() -> None:
    assert _names_in('def f(a):\n    return a.task == "triangle"') == ["triangle"]


@pytest.mark.parametrize("task", tasks.ALL, ids=lambda task: task.name)
def test_every_task_has_trials_a_simulated_listener_and_an_answer(task: tasks.Task) -> None:
    assert callable(forms.form(task))
    assert task.has_marks or task.picks == "more" or task.sheet in answering.BY_SHEET or task.picks
    scale = [f"step {i}" for i in range(task.scale_lengths[0])] if task.scale_lengths else []
    made = Attribute(
        name="a", wording="Which?", comparative="more", task=task.name, scale=scale,
        scale_standard="own" if scale else "",
    )  # fmt: skip
    assert made.task == task.name


@pytest.mark.parametrize(("name", "n_all"), [("triangle", 6), ("duo-trio", 4)])
def test_orders_of_the_standards_are_complete(name: str, n_all: int) -> None:
    # ISO 4120: AAB, ABA, BAA, BBA, BAB, ABB; ISO 10399, balanced reference: each reference in both places
    orders = tasks.named(name).orders
    assert len(set(orders)) == len(orders) == n_all
    assert all(orders.count(order.translate(str.maketrans("AB", "BA"))) == 1 for order in orders)


def test_chance_shares_are_those_of_the_standards() -> None:
    # ISO 4120 (triangle), ISO 10399 (duo-trio), ISO 5495 (paired comparison, directional)
    assert tasks.named("triangle").guess == 1 / 3
    assert tasks.named("duo-trio").guess == tasks.named("2-AFC").guess == 1 / 2


def test_a_task_that_can_be_guessed_right_says_what_its_share_of_right_answers_means() -> None:
    for task in tasks.ALL:
        assert (task.guess is None) == (task.scored_as is None), task.name
        if task.scored_as is not None:
            assert psychometric.task(task.scored_as).guess == task.guess
