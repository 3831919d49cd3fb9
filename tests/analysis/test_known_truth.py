"""Whole studies with known truth: what may be said of a simulated panel whose ears we made."""

import pytest

from listening.analysis import collect, decide, level_slope

LEVEL_ONLY = ("b-brighter-than-a", "b-longer-than-a")
REAL = ("d-brighter-than-c", "f-longer-than-e")


def words(bells, answers) -> dict[str, str]:
    table = collect.frame(answers, bells.key, bells.manifest)
    slopes = {a.name: level_slope.from_answers(table, a.name) for a in bells.protocol.attributes}
    return {name: one.word for name, one in decide.decide_all(table, bells.protocol, slopes).items()}


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
