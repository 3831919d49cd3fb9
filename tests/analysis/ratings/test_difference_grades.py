"""Grades beside a hidden reference: joined, told by the model, and who did not hear the reference."""

import itertools
from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy import stats as scipy_stats

from listening.analysis import full_analysis
from listening.analysis.collect import keyed_grades
from listening.analysis.opening.sealed_key import Opened
from listening.analysis.ratings import difference_grades
from listening.design import dealing
from listening.errors import StudyError
from listening.records.dealt.answer import Answer
from listening.records.protocols import protocol as protocol_form
from listening.records.protocols.protocol import Protocol
from listening.report.page import page
from listening.simulate import panel, percepts
from tests import bells

REFERENCE = "dome_a/free"
IMPAIRMENT = [
    "very annoying",
    "annoying",
    "slightly annoying",
    "perceptible, but not annoying",
    "imperceptible",
]
QUALITY = ["bad", "poor", "fair", "good", "excellent"]
SCALES = {"triple stimulus": IMPAIRMENT, "multiple stimulus": QUALITY}


def study(task: str, exclusions: dict[str, Any] | None = None, **block: Any) -> Opened:
    """The bells, graded against one of them; listeners and strikes in whole turns."""
    plain = protocol_form.load(bells.PROTOCOL)
    attribute = plain.attributes[0].model_dump() | {
        "task": task,
        "scale": SCALES[task],
        "scale_standard": "ITU-R",
        "examples": None,
    }
    row = {"attribute": "brightness", "presentation": "matched", "reference": REFERENCE, "repeats": 6} | block
    parts = {"attributes": [attribute], "blocks": [row], "controls": [], "questions": [], "superlatives": []}
    size = {"panel": plain.panel.model_dump() | {"listeners": 12}, "exclusions": exclusions or {}}
    size["stopping"] = {}
    chosen = Protocol.model_validate(plain.model_dump() | parts | size)
    made = dealing.deal(
        chosen, bells.manifest(), protocol_digest="p" * 64, secret="0" * 31 + "1", dealt_at="2030-01-01"
    )
    return Opened(chosen, made.plan, made.key, bells.manifest())


def answered(opened: Opened) -> list[Answer]:
    heard = percepts.of_study(opened.key, opened.manifest)
    return panel.answers(opened.plan, heard, n_listeners=12, seed=3)


def test_a_difference_grade_is_the_grade_less_that_of_the_hidden_reference() -> None:
    opened = study("triple stimulus")
    given = [a.model_copy(update={"answer": "3.2 4.9"}) for a in answered(opened)]
    table = keyed_grades.frame(given, opened.key.clips, opened.plan)
    assert len(table) == 2 * len(given)
    hidden = table[table["is_hidden"]]
    assert set(hidden["condition"]) == {REFERENCE}
    objects = table[~table["is_hidden"]]
    assert set(np.round(objects["difference"], 6)) == {-1.7, 1.7}
    assert (np.sign(objects["difference"]) == np.where(objects["grade"] < 4, -1, 1)).all()


@pytest.mark.parametrize("answer", ["3.2", "3.2 nothing", "1 2 3"])
def test_an_answer_that_is_not_a_grade_for_each_sound_is_refused(answer: str) -> None:
    opened = study("triple stimulus")
    given = [a.model_copy(update={"answer": answer}) for a in answered(opened)[:1]]
    with pytest.raises(StudyError, match=f"holds the answer `{answer}`, wanted 2 numbers"):
        keyed_grades.frame(given, opened.key.clips, opened.plan)


def made_up(rng: np.random.Generator, truth: dict[str, float], n_listeners: int = 10) -> pd.DataFrame:
    """Grades of one strike a condition, twice each: listeners differ, and differ in their views."""
    rows = []
    for number in range(n_listeners):
        for condition, mean in truth.items():
            own = mean + 0.4 * rng.standard_normal()
            for repeat in range(2):
                difference = own + 0.2 * rng.standard_normal()
                at = {
                    "listener": f"L{number:02d}",
                    "trial": f"{condition} {repeat}",
                    "task": "triple stimulus",
                }
                at |= {"attribute": "brightness", "presentation": "matched", "is_anchor": False}
                rows.append(
                    at
                    | {"condition": condition, "stimulus": condition, "is_hidden": False}
                    | {"grade": 5 + difference, "difference": difference}
                )
                rows.append(
                    at
                    | {"condition": REFERENCE, "stimulus": REFERENCE, "is_hidden": True}
                    | {"grade": 5.0, "difference": 0.0}
                )
    return pd.DataFrame(rows)


def test_the_mean_difference_grades_of_a_balanced_panel_are_plain_means_of_listeners() -> None:
    """By hand: with as many grades of each cell, the estimate is the mean over listeners of their means."""
    truth = {"dome_b/free": -0.5, "dome_c/free": -1.5, "dome_d/free": -2.5}
    table = made_up(np.random.default_rng(1), truth)
    (found,) = difference_grades.of_study(table, study("triple stimulus").protocol, [])
    objects = {one.condition: one for one in found.conditions if one.role != "hidden reference"}
    for name in truth:
        own = table[table["condition"] == name].groupby("listener")["difference"].mean()
        assert objects[name].difference.value == pytest.approx(float(own.mean()), abs=1e-9)
        assert objects[name].difference.lower < truth[name] < objects[name].difference.upper
    assert found.conditions[0].role == "hidden reference"


def test_quartiles_are_those_of_all_grades_of_a_condition() -> None:
    """1, 2, 3, 4 have quartiles 1.75, 2.5, 3.25 (Hyndman & Fan 1996, definition 7, by hand: 1 + 3 p)."""
    assert difference_grades._quartiles(np.array([4.0, 1.0, 3.0, 2.0])) == {
        "lower_quartile": 1.75,
        "median": 2.5,
        "upper_quartile": 3.25,
    }
    table = made_up(np.random.default_rng(1), {"dome_b/free": -0.5, "dome_c/free": -1.5})
    (found,) = difference_grades.of_study(table, study("triple stimulus").protocol, [])
    own = next(one for one in found.conditions if one.condition == "dome_c/free")
    grades = sorted(table[(table["condition"] == "dome_c/free") & ~table["is_hidden"]]["grade"])
    assert own.median == pytest.approx(np.mean([grades[(len(grades) - 1) // 2], grades[len(grades) // 2]]))


def test_a_listener_left_out_enters_no_mean_and_stays_in_the_table() -> None:
    truth = {"dome_b/free": -0.5, "dome_c/free": -1.5}
    table = made_up(np.random.default_rng(2), truth)
    protocol = study("triple stimulus").protocol
    (without,) = difference_grades.of_study(table, protocol, ["L03"])
    (alone,) = difference_grades.of_study(table[table["listener"] != "L03"], protocol, [])
    assert without.conditions == alone.conditions
    assert [one.listener for one in without.listeners] == [f"L{i:02d}" for i in range(10)]


def test_the_test_of_one_listener_is_the_one_sided_t_test() -> None:
    """Against scipy.stats.ttest_1samp."""
    table = made_up(np.random.default_rng(4), {"dome_b/free": -0.2, "dome_c/free": -0.1})
    (found,) = difference_grades.of_study(table, study("triple stimulus").protocol, [])
    for one in found.listeners:
        own = table[(table["listener"] == one.listener) & ~table["is_hidden"]]["difference"]
        assert one.p == pytest.approx(scipy_stats.ttest_1samp(own, 0, alternative="less").pvalue, rel=1e-9)


def test_a_whole_study_of_difference_grades_is_analysed_and_shown() -> None:
    opened = study("triple stimulus")
    found = full_analysis.findings(opened, answered(opened))
    (graded,) = found.graded
    assert (graded.n_listeners, graded.n_trials) == (12, 12 * 5 * 6)
    assert all(one.difference.value < 0 for one in graded.conditions if one.difference)
    shown = page.render(found)
    assert "Grades beside the hidden reference" in shown
    assert "Post-screening by the hidden reference" in shown


LOW_TRIALS = [(1, False), (2, True)]  # of 6 trials: 17 % and 33 % against a rule of 20 %


@pytest.mark.parametrize(("n_low", "is_out"), LOW_TRIALS)
def test_who_misses_the_hidden_reference_too_often_is_left_out(n_low: int, is_out: bool) -> None:
    """The rule of ITU-R BS.1534-3, clause 4.1.2, with another share."""
    opened = study("multiple stimulus", {"hidden_reference_low_above": 0.2})
    clip = {one.clip: one for one in opened.key.clips}
    given, seen = [], dict.fromkeys([f"S{i:03d}" for i in range(1, 13)], 0)
    for answer in answered(opened):
        seen[answer.listener] += 1
        misses = answer.listener == "S005" and seen[answer.listener] <= n_low
        is_hidden = [clip[code].condition == REFERENCE for code in answer.clips]
        grades = [(89 if misses else 90) if hidden else 40 + i for i, hidden in enumerate(is_hidden)]
        given.append(answer.model_copy(update={"answer": " ".join(map(str, grades))}))
    found = full_analysis.findings(opened, given)
    out = [one.listener for one in found.panel.listeners if one.excluded]
    assert out == (["S005"] if is_out else [])
    (graded,) = found.graded
    assert [one.reference_low for one in graded.listeners] == [0, 0, 0, 0, n_low, *[0] * 7]
    assert graded.n_listeners == 12 - is_out


@pytest.mark.parametrize(("grade", "is_out"), [(90, False), (91, True)])
def test_who_grades_the_mid_anchor_as_the_reference_is_left_out(grade: int, is_out: bool) -> None:
    rule = {"mid_anchor_high_above": 0.15}
    opened = study("multiple stimulus", rule, mid_anchor="dome_b/free", low_anchor="dome_c/free")
    clip = {one.clip: one for one in opened.key.clips}
    given = []
    for answer in answered(opened):
        at_mid = grade if answer.listener == "S002" else 60
        of = {REFERENCE: 100, "dome_b/free": at_mid}
        grades = [of.get(clip[code].condition, 30 + i) for i, code in enumerate(answer.clips)]
        given.append(answer.model_copy(update={"answer": " ".join(map(str, grades))}))
    found = full_analysis.findings(opened, given)
    assert [one.listener for one in found.panel.listeners if one.excluded] == (["S002"] if is_out else [])
    roles = {one.condition: one.role for one in found.graded[0].conditions}
    assert (roles["dome_b/free"], roles["dome_c/free"]) == ("mid anchor", "low anchor")


def test_a_study_without_grades_has_none_and_nobody_seen() -> None:
    opened = study("triple stimulus")
    table = keyed_grades.frame([], opened.key.clips, opened.plan)
    assert list(keyed_grades.as_seen(table).columns) == ["listener", "response_s", "simulated", "first"]
    assert difference_grades.of_study(table, opened.protocol, []) == ()


def test_a_panel_of_which_everybody_is_left_out_has_listeners_and_no_limits() -> None:
    opened = study("triple stimulus", {"difference_grades_p_above": 0.05})
    given = [a.model_copy(update={"answer": "5 5"}) for a in answered(opened)]
    (graded,) = full_analysis.findings(opened, given).graded
    assert graded.n_listeners == 0
    assert len(graded.listeners) == 12
    assert "grades of 0 listeners" in graded.note


def by_every_sign(differences: np.ndarray) -> float:
    """Two-sided p of the signed-rank test by counting every assignment of signs; ranks by scipy."""
    own = np.round(differences[np.abs(differences) > 1e-9], 9)
    ranks = scipy_stats.rankdata(np.abs(own))
    sums = np.array(list(itertools.product([0, 1], repeat=len(own)))) @ ranks
    seen = ranks[own > 0].sum()
    return 2 * min((sums <= seen).mean(), (sums >= seen).mean())


def test_rank_tests_stand_beside_the_model_and_follow_other_libraries() -> None:
    opened = study("multiple stimulus")
    given = answered(opened)
    table = keyed_grades.frame(given, opened.key.clips, opened.plan)
    (found,) = difference_grades.of_study(table, opened.protocol, ())
    means = table[~table["is_hidden"]].groupby(["listener", "condition"])["difference"].mean().unstack()
    chi_square, p = scipy_stats.friedmanchisquare(*(means[name] for name in means))
    assert found.ranks is not None
    assert (found.ranks.df, found.ranks.n_listeners) == (means.shape[1] - 1, 12)
    assert (found.ranks.chi_square, found.ranks.p) == (pytest.approx(chi_square, rel=1e-9), pytest.approx(p))
    own = {one.condition: one.signed_rank_p for one in found.conditions if one.role != "hidden reference"}
    assert set(own) == set(means)
    smallest = min(by_every_sign(means[name].to_numpy()) for name in means)
    assert min(own.values()) == pytest.approx(
        min(1.0, smallest * means.shape[1]), rel=1e-9
    )  # Holm's first step
