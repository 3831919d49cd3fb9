"""Questions corrected together: Holm's steps, and what they leave contradicted."""

from dataclasses import dataclass

import pytest

from listening.analysis.decide import families

ALPHA = 0.05


@dataclass(frozen=True)
class Asked:
    id: str
    family: str


@dataclass(frozen=True)
class Judged:
    id: str
    word: str
    shared_over: int


def judged(p: dict[str, float], *, against: dict[str, float] | None = None) -> dict[str, Judged]:
    """Questions with these p-values; `against` are p-values of being below the smallest effect."""
    below = against or {}

    def judge(one: str, n: int) -> Judged:
        word = "supported" if p[one] <= ALPHA / n else "undecided"
        if one in below and below[one] <= ALPHA / n:
            word = "contradicted"
        return Judged(one, word, n)

    found = families.judged(
        list(p), p=lambda one: p[one], judge=judge, rejects=lambda one, found, n: p[one] <= ALPHA / n
    )
    return {one.id: one for one in found}


@pytest.mark.parametrize(
    ("p", "steps", "supported"),
    [  # by hand: the smallest at alpha / 3, the next at alpha / 2, the last at alpha, as long as they reject
        ({"a": 0.01, "b": 0.02, "c": 0.05}, {"a": 3, "b": 2, "c": 1}, "abc"),
        ({"a": 0.05, "b": 0.01, "c": 0.02}, {"b": 3, "c": 2, "a": 1}, "abc"),
        ({"a": 0.01, "b": 0.03, "c": 0.04}, {"a": 3, "b": 2, "c": 2}, "a"),
        ({"a": 0.02, "b": 0.02, "c": 0.02}, {"a": 3, "b": 3, "c": 3}, ""),
        ({"a": 0.001, "b": 0.026, "c": 0.026}, {"a": 3, "b": 2, "c": 2}, "a"),
        ({"a": 0.04}, {"a": 1}, "a"),
    ],
)
def test_each_question_is_judged_at_the_step_of_holm_that_it_reaches(p, steps, supported):
    found = judged(p)
    assert {one: found[one].shared_over for one in p} == steps
    assert {one for one in p if found[one].word == "supported"} == set(supported)


def test_a_contradiction_must_hold_at_alpha_over_the_whole_family():
    """The last of three is judged at alpha itself; contradicted there, it must be so at alpha / 3."""
    p = {"a": 0.001, "b": 0.001, "c": 0.9}
    assert judged(p, against={"c": 0.04})["c"] == Judged("c", "undecided", 3)
    assert judged(p, against={"c": 0.0166})["c"] == Judged("c", "contradicted", 3)


def test_questions_are_gathered_by_family_and_stand_alone_without_one():
    asked = [Asked("a", "one"), Asked("b", ""), Asked("c", "one"), Asked("d", ""), Asked("e", "two")]
    gathered = families.gathered(asked, lambda one: one)
    assert [[one.id for one in family] for family in gathered] == [["a", "c"], ["b"], ["d"], ["e"]]
