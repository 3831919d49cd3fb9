"""`No difference` answers: the three-category model decides, level and verdict as without them."""

import numpy as np
import pytest

from listening.analysis import full_analysis
from listening.analysis.collect import keyed_answers
from listening.analysis.decide import confidence_limits, contrast, decide, level_slope
from listening.analysis.opening.sealed_key import Opened
from listening.design import dealing
from listening.records.protocols.protocol import Contrast, Protocol, Question
from listening.report.sentences import sentences
from listening.simulate import panel as simulated
from listening.simulate import percepts
from stats.mixed import tied_mixed
from stats.mixed.engine import random_terms

WIDTH = 0.6  # logit on either side of zero; about one answer in four is then `no difference`
THREE = {"a": 0.9, "b": 0.0, "c": -0.3}
ASKED = Question(
    id="a-b",
    kind="more",
    attribute="brightness",
    presentation="matched",
    contrast=Contrast(more="a", than="b"),
    smallest_effect=0.6,
)


def _study(table):
    return keyed_answers.select(table, attribute="brightness", presentation="matched")


@pytest.fixture(scope="module")
def tied(panel):
    table = panel(
        np.random.default_rng(6), THREE, repeats=6, no_difference_width=WIDTH, slope_logit_per_db=0.25
    )
    assert 0.15 < (table["chosen"] == 0.5).mean() < 0.35
    return table


def test_an_effect_is_found_again_on_the_scale_of_a_choice_that_must_be_made(tied):
    found = contrast.fit(contrast.design(_study(tied), more="a", than="b"))
    limits = confidence_limits.bounds(found, 0.005)
    assert limits.lower < 0.9 < limits.upper  # the truth, at 99 %
    assert found.estimate == pytest.approx(0.9, abs=3 * found.se)


def test_a_decibel_moves_the_answer_on_the_same_scale(tied):
    found = level_slope.from_answers(tied, "brightness")
    assert found.estimate == pytest.approx(0.25, abs=3 * found.se)


def test_the_verdict_takes_such_answers(tied):
    found = decide.decide_question(tied, ASKED)
    assert found.word == "supported"
    rows = _study(tied)
    met = {"a", "b"} == rows[["condition_first", "condition_second"]].agg(set, axis=1)
    assert found.judged.found.ties == int((rows[met]["chosen"] == 0.5).sum()) > 0


def test_heard_the_other_way_round_the_effect_changes_its_sign_alone(tied):
    rows = _study(tied)
    there = contrast.fit(contrast.design(rows, more="a", than="b"))
    back = contrast.fit(contrast.design(rows.assign(chosen=1 - rows["chosen"]), more="a", than="b"))
    assert back.estimate == pytest.approx(-there.estimate, abs=1e-5)
    assert back.se == pytest.approx(there.se, rel=1e-4)


def test_where_nobody_names_the_second_such_an_answer_counts_half(panel):
    table = panel(np.random.default_rng(1), {"a": 0.0, "b": 0.0}, no_difference_width=WIDTH)
    rows = _study(table)
    first_is_a = rows["condition_first"] == "a"
    all_a = np.where(first_is_a, 1.0, 0.0)
    rows = rows.assign(chosen=np.where(np.arange(len(rows)) % 8 == 0, 0.5, all_a))
    found = contrast.fit(contrast.design(rows, more="a", than="b"))
    # by hand: each of 1/8 ties counts half, so a is chosen in 15 of 16
    assert found.estimate == pytest.approx(np.log(15), abs=0.3)


def test_a_known_part_of_the_log_odds_is_taken_off_exactly():
    rng = np.random.default_rng(3)
    x, listener = rng.standard_normal((240, 1)), np.repeat(np.arange(12), 20)
    answers = np.sign(np.round(1.2 * (x[:, 0] + rng.logistic(size=240)))).astype(int)
    terms = [random_terms.term("listener", listener, x[:, 0])]
    plain = tied_mixed.fit(answers, x, terms, restricted=True)
    known = tied_mixed.fit(answers, x, terms, offset=0.7 * x[:, 0], restricted=True)
    assert known.estimate == pytest.approx(plain.estimate - [0.7, 0.0], abs=1e-4)
    assert known.se == pytest.approx(plain.se, rel=1e-3)


def _bells_with_ties(bells: Opened) -> Opened:
    """One question of the demo, asked with `no difference` allowed."""
    raw = bells.protocol.model_dump()
    raw["attributes"] = [a | {"no_difference": True} for a in raw["attributes"] if a["name"] == "brightness"]
    raw["recordings"]["use"] = {"design": ["dome_a", "dome_c", "dome_d"], "support": ["free"]}
    raw["blocks"] = [{"attribute": "brightness", "presentation": "matched", "pairs": "planned", "repeats": 3}]
    raw["controls"] = [c for c in raw["controls"] if c["attribute"] == "brightness"]
    raw["questions"] = [q for q in raw["questions"] if q["id"] == "d-brighter-than-c"]
    raw["superlatives"] = []
    chosen = Protocol.model_validate(raw)
    made = dealing.deal(
        chosen, bells.manifest, protocol_digest="p" * 64, secret="0" * 31 + "1", dealt_at="2030-01-01"
    )
    return Opened(chosen, made.plan, made.key, bells.manifest)


def test_a_study_that_allows_no_difference_says_so_in_its_sentence(bells):
    opened = _bells_with_ties(bells)
    heard = percepts.of_study(opened.key, opened.manifest)
    found = full_analysis.findings(opened, simulated.answers(opened.plan, heard, n_listeners=24, seed=2))
    (q,) = found.questions
    assert q.word == "supported"
    assert q.n_direct_no_difference > 0
    said = sentences.printable(q, found)
    assert f"({q.n_direct_no_difference} comparisons were answered “no difference”)" in said


@pytest.mark.slow
def test_where_there_is_no_effect_it_is_supported_no_oftener_than_alpha(panel):
    """The lower limit is above zero in at most 5 % of 200 panels, and three Monte Carlo errors of 1.5 %."""
    above = []
    for seed in range(200):
        nothing = {"a": 0.0, "b": 0.0, "c": 0.8}
        table = panel(np.random.default_rng([9, seed]), nothing, repeats=3, no_difference_width=WIDTH)
        fit = contrast.fit(contrast.design(_study(table), more="a", than="b"))
        above.append(confidence_limits.bounds(fit, 0.05).lower > 0)
    assert np.mean(above) <= 0.05 + 3 * 0.0154
