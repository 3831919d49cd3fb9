"""Questions corrected together: Holm's steps, and what they leave contradicted."""

from dataclasses import dataclass

import numpy as np
import pytest
from scipy import special
from scipy.stats import binom

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
    shared_over: float


def judged(p: dict[str, float], *, against: dict[str, float] | None = None) -> dict[str, Judged]:
    """Questions with these p-values; `against` are p-values of being below the smallest effect."""
    below = against or {}

    def judge(one: str, n: float) -> Judged:
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
    [  # by hand: the smallest at 0.8 alpha / 3, the next at 0.8 alpha / 2, the last at 0.8 alpha
        ({"a": 0.01, "b": 0.02, "c": 0.04}, {"a": 3, "b": 2, "c": 1}, "abc"),
        ({"a": 0.04, "b": 0.01, "c": 0.02}, {"b": 3, "c": 2, "a": 1}, "abc"),
        ({"a": 0.01, "b": 0.03, "c": 0.035}, {"a": 3, "b": 2, "c": 2}, "a"),
        ({"a": 0.02, "b": 0.02, "c": 0.02}, {"a": 3, "b": 3, "c": 3}, ""),
        ({"a": 0.001, "b": 0.021, "c": 0.021}, {"a": 3, "b": 2, "c": 2}, "a"),
    ],
)
def test_each_question_is_judged_at_the_step_of_holm_that_it_reaches(p, steps, supported):
    found = judged(p)
    assert {one: found[one].shared_over for one in p} == {
        one: pytest.approx(n / 0.8) for one, n in steps.items()
    }
    assert {one for one in p if found[one].word == "supported"} == set(supported)


def test_one_question_alone_has_the_whole_alpha_for_either_word():
    """Whatever the truth, one of the two words is right or empty: only the other can be wrong."""
    assert judged({"a": 0.05})["a"] == Judged("a", "supported", 1.0)
    assert judged({"a": 0.9}, against={"a": 0.05})["a"] == Judged("a", "contradicted", 1.0)


def test_a_contradiction_must_hold_at_a_fifth_of_alpha_over_the_whole_family():
    p = {"a": 0.001, "b": 0.001, "c": 0.9}
    assert judged(p, against={"c": 0.0034})["c"].word == "undecided"
    assert judged(p, against={"c": 0.0033})["c"].word == "contradicted"


@pytest.mark.parametrize("n_at_bound", [1, 2, 3])
@pytest.mark.parametrize("delta", [0.0, 2.5, 4.0])
def test_wrong_words_of_either_kind_stay_within_alpha_together(n_at_bound, delta):
    """Four questions: some truly even ("supported" is wrong), the others at the smallest effect.

    Evidence is normal with standard deviation 1; steps of Holm for one word and alpha / m for the other erred
    in up to 6 %.
    """
    rng = np.random.default_rng(20261127)
    truth = np.array([delta] * n_at_bound + [0.0] * (4 - n_at_bound))
    wrong, n = 0, 4000
    for z in rng.normal(truth, 1.0, (n, 4)):
        above, below = special.ndtr(-z), special.ndtr(z - delta)
        found = judged(dict(enumerate(above)), against=dict(enumerate(below)))
        words = [found[i].word for i in range(4)]
        wrong += "contradicted" in words[:n_at_bound] or "supported" in words[n_at_bound:]
    assert wrong <= binom.ppf(0.999, n, ALPHA)


def test_questions_are_gathered_by_family_and_stand_alone_without_one():
    asked = [Asked("a", "one"), Asked("b", ""), Asked("c", "one"), Asked("d", ""), Asked("e", "two")]
    gathered = families.gathered(asked, lambda one: one)
    assert [[one.id for one in family] for family in gathered] == [["a", "c"], ["b"], ["d"], ["e"]]


def test_a_family_counts_its_own_questions_and_shares_alpha_over_them():
    asked = [Asked("a", "one"), Asked("b", ""), Asked("c", "one"), Asked("d", ""), Asked("e", "two")]
    assert [families.size(one, asked) for one in asked] == [2, 1, 2, 1, 1]
    assert families.even(0.05, 4) == pytest.approx(0.0125)
    assert families.even(0.05, 1) == families.even(0.05, 0) == 0.05
