"""Whole studies with known truth: what may be said of a simulated panel whose ears we made."""

import os
from pathlib import Path

import numpy as np
import pytest

from listening.analysis.collect import keyed_answers
from listening.analysis.decide import decide
from tests import known_truth, slow

LEVEL_ONLY = ("b-brighter-than-a", "b-longer-than-a")
REAL = ("d-brighter-than-c", "f-longer-than-e")


def words(bells, answers) -> dict[str, str]:
    table = keyed_answers.frame(answers, bells.key, bells.manifest)
    return {name: one.word for name, one in decide.decide_all(table, bells.protocol).items()}


def is_right(found: dict[str, str]) -> bool:
    return all(found[name] == "supported" for name in REAL) and all(
        found[name] != "supported" for name in LEVEL_ONLY
    )


def test_one_panel_is_told_right(bells, bells_answers):
    found = words(bells, bells_answers(1))
    assert is_right(found), found
    assert found["b-louder-than-a"] == "supported"


@pytest.mark.slow
def test_twenty_panels_are_told_right_eighteen_times_or_more(bells, bells_answers, capsys):
    outcomes = [words(bells, bells_answers(seed)) for seed in range(20)]
    with capsys.disabled():
        for seed, found in enumerate(outcomes):
            print(f"\nseed {seed:2}", *(f"{name}: {word}" for name, word in found.items()), sep="  ", end="")
        print()
    assert sum(map(is_right, outcomes)) >= 18


STUDIES = 500
AT_MOST = 0.05 + 3 * np.sqrt(0.05 * 0.95 / STUDIES)  # alpha and three Monte Carlo errors: 0.079


def test_one_study_of_a_small_panel_says_nothing_wrong():
    said = known_truth.study("panel of 12", np.random.default_rng(1))
    assert not any(said[name] for name in ("supported", "the same", "contradicted"))


@pytest.mark.slow
@pytest.mark.parametrize("name", known_truth.CASES)
def test_wrong_statements_are_as_rare_as_promised_and_far_from_rare_when_pooled(name, tmp_path, capsys):
    save = Path(os.environ.get(slow.FOLDER, tmp_path))  # studies made before a cut are not made again
    save.mkdir(parents=True, exist_ok=True)
    with capsys.disabled():
        studies = known_truth.simulate(known_truth.CASES[name], STUDIES, where=2, save=save)
        print(f"commit {slow.state()[1]}", known_truth.table({name: studies}, STUDIES), sep="\n")
    said = known_truth.shares(known_truth.CASES[name], studies)
    wrong = {what for what in said if "pooled" not in what and "not taken off" not in what}
    assert {what: share for what, share in said.items() if what in wrong and share > AT_MOST} == {}
    if name != "split panel":  # listeners who cancel each other leave the pooled mean alone
        assert max(share for what, share in said.items() if "pooled" in what) > AT_MOST
