"""Planned questions decided on panels with known truth, in memory."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from listening.analysis.decide import decide, level_slope
from listening.records.protocol import Contrast, Question

SIX = {"a": 0.0, "b": 0.0, "c": -0.6, "d": 0.9, "e": 0.0, "f": 0.3}
TWO = {"a": 0.0, "b": 0.0}


def question(more: str, than: str, kind: str = "more", smallest: float = 0.6, family: str = "") -> Question:
    return Question(
        id=f"{more}-{than}",
        kind=kind,
        attribute="brightness",
        presentation="matched",
        contrast=Contrast(more=more, than=than),
        smallest_effect=smallest,
        family=family,
        split_limit=0.5,
    )


def decided(table: pd.DataFrame, asked: Question, **options: object) -> decide.Decided:
    slope = level_slope.from_answers(table, asked.attribute)
    return decide.decide_question(table, asked, slope=slope, metric="laf_max_db", **options)


def unanimous(table: pd.DataFrame, name: str = "a") -> pd.DataFrame:
    """The table with `name` chosen in every study trial."""
    study = table["role"] == "study"
    return table.assign(chosen=np.where(study, (table["condition_first"] == name) * 1.0, table["chosen"]))


@pytest.mark.parametrize("repeats", [1, 4])
def test_24_of_24_choosing_one_every_time_is_supported(panel, repeats):
    table = unanimous(panel(np.random.default_rng(1), TWO, repeats=repeats))
    assert decided(table, question("a", "b")).word == "supported"
    assert decided(table, question("b", "a")).word == "contradicted"


def test_99_of_100_choices_is_supported(panel):
    table = unanimous(panel(np.random.default_rng(1), TWO, repeats=4))
    odd = np.flatnonzero(table["role"] == "study")[7]
    table.loc[odd, "chosen"] = 1 - table.loc[odd, "chosen"]
    share = (table["chosen"] == (table["condition_first"] == "a"))[table["role"] == "study"].mean()
    assert share == pytest.approx(95 / 96)
    assert decided(table, question("a", "b")).word == "supported"


def test_a_clear_difference_is_supported_and_none_is_not(panel):
    table = panel(np.random.default_rng(2), SIX)
    assert decided(table, question("d", "c")).word == "supported"
    assert decided(table, question("b", "a")).word != "supported"


@pytest.mark.parametrize(("n_listeners", "word"), [(7, "no verdict"), (8, "supported")])
def test_below_eight_listeners_there_is_no_verdict(panel, n_listeners, word):
    table = unanimous(panel(np.random.default_rng(1), TWO, n_listeners=n_listeners, repeats=4))
    assert decided(table, question("a", "b")).word == word


def test_without_a_level_slope_nothing_is_said_beyond_level(panel):
    table = panel(np.random.default_rng(2), SIX, control_gains_db=())
    found = decided(table, question("d", "c"))
    assert found.word == "undecided"
    assert "level alone" in found.reason


def test_a_difference_that_level_explains_is_not_supported(panel):
    """The two differ by 3 dB of level left over after a bad match, and level moves the answer."""
    level_db = {"a": 0.0, "b": 3.0}
    table = panel(np.random.default_rng(3), TWO, repeats=6, slope_logit_per_db=0.4, level_db=level_db)
    blind = decide.decide_question(table, question("b", "a"), slope=None, about_level=True)
    assert blind.word == "supported"  # the plain answer: louder is called brighter
    assert decided(table, question("b", "a")).word != "supported"


def test_a_verdict_that_one_metric_of_level_overturns_is_undecided(panel):
    table = panel(np.random.default_rng(4), SIX, slope_logit_per_db=0.4, control_repeats=6)
    forward = (table["condition_first"] == "d").astype(float) - (table["condition_second"] == "d")
    table = table.assign(lae_db_difference=table["lae_db_difference"] + 4.0 * forward)
    found = decided(table, question("d", "c"))
    assert found.flips
    assert found.word == "undecided"
    assert "lae_db" in found.reason


def test_the_verdict_does_not_depend_on_row_order_or_names_of_listeners(panel):
    table = panel(np.random.default_rng(5), SIX, n_listeners=12)
    shuffled = table.sample(frac=1, random_state=3).reset_index(drop=True)
    renamed = shuffled.assign(
        listener=shuffled["listener"].map(lambda name: f"x{int(name[1:]) * 7 % 101:03d}")
    )
    one, other = decided(table, question("d", "c")), decided(renamed, question("d", "c"))
    # both optimisers stop where the gradient is below 1e-5 standard errors
    assert other.ways[0].fit.estimate == pytest.approx(one.ways[0].fit.estimate, abs=1e-4)
    assert other.word == one.word


def test_exchanging_the_conditions_turns_the_sign(panel):
    table = panel(np.random.default_rng(5), SIX, n_listeners=12)
    one, other = decided(table, question("d", "c")), decided(table, question("c", "d"))
    assert other.ways[0].fit.estimate == pytest.approx(-one.ways[0].fit.estimate, abs=1e-4)


def test_the_same_is_supported_where_nothing_differs(panel):
    table = panel(np.random.default_rng(6), TWO, repeats=12, sd_listener=0.1, sd_stimulus=0.05, order=0.1)
    found = decided(table, question("a", "b", kind="same", smallest=0.7))
    assert found.word == "supported"


def test_a_split_panel_is_not_the_same(panel):
    """Half the listeners hear more in one, half in the other: no mean effect, but a split panel."""
    table = panel(np.random.default_rng(7), TWO, repeats=8, sd_listener=0.0, sd_stimulus=0.0)
    study = table["role"] == "study"
    likes_a = table["listener"].map(lambda name: int(name[1:]) % 2 == 0)
    strong = np.random.default_rng(0).random(len(table)) < 0.85
    picks_a = np.where(strong, likes_a, ~likes_a)
    chosen = np.where(table["condition_first"] == "a", picks_a, ~picks_a) * 1.0
    table = table.assign(chosen=np.where(study, chosen, table["chosen"]))
    found = decided(table, question("a", "b", kind="same", smallest=0.7))
    assert found.word == "undecided"


def test_a_family_is_judged_by_holms_steps(panel):
    table = panel(np.random.default_rng(2), SIX)
    slope = level_slope.from_answers(table, "brightness")
    asked = [question("d", "c", family="x"), question("b", "a", family="x")]
    family = [decide.fit_question(table, q, slope=slope, metric="laf_max_db") for q in asked]
    by_id = {one.fitted.question.id: one for one in decide.judge_family(family)}
    assert by_id["d-c"].alpha == pytest.approx(0.02)  # the strongest of two: four fifths of 0.05, halved
    assert by_id["b-a"].alpha == pytest.approx(0.04)  # after the first fell
    nothing = [decide.fit_question(table, question(*pair), slope=slope) for pair in (("b", "a"), ("a", "e"))]
    assert [one.alpha for one in decide.judge_family(nothing)] == pytest.approx(
        [0.02, 0.005]
    )  # the second is against it


def test_a_contradiction_is_judged_at_the_alpha_of_the_whole_family(monkeypatch):
    asked = []
    monkeypatch.setattr(decide, "judge", lambda fitted, alpha: asked.append(alpha) or "judged again")
    fitted = SimpleNamespace(question=SimpleNamespace(alpha=0.05))
    contradicted = SimpleNamespace(fitted=fitted, word="contradicted", alpha=0.05)
    supported = SimpleNamespace(fitted=fitted, word="supported", alpha=0.05)
    assert decide.contradicted_in_family(contradicted, 4) == "judged again"
    assert decide.contradicted_in_family(supported, 4) is supported
    assert asked == [0.05 / 4]
