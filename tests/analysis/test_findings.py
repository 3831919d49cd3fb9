"""The findings of a whole study, in memory."""

import json

import pandas as pd
import pytest

from listening.analysis.collect import keyed_answers
from listening.analysis.decide import decide
from listening.records.findings import Findings


def test_same_answers_same_bytes_whatever_their_order(bells, bells_answers):
    answers = bells_answers(1, n_listeners=8)
    tables = [keyed_answers.frame(found, bells.key, bells.manifest) for found in (answers, answers[::-1])]
    pd.testing.assert_frame_equal(*tables)
    asked = bells.protocol.questions[0]
    one, other = (
        decide.decide_question(table, asked, slope=None, first_way_only=True).ways[0].fit for table in tables
    )
    assert (one.estimate, one.se) == (other.estimate, other.se)


def test_findings_survive_being_written(tmp_path, bells_findings):
    path = tmp_path / "findings.json"
    bells_findings.save(path)
    assert Findings.load(path) == bells_findings
    assert "NaN" not in path.read_text()
    json.loads(path.read_text())


def test_a_simulated_panel_is_marked(bells_findings):
    assert bells_findings.simulated
    assert "simulated" in bells_findings.cautions
    assert all(row.simulated for row in bells_findings.panel.listeners)


def test_every_question_carries_what_rule_seven_asks(bells_findings):
    for q in bells_findings.questions:
        assert q.estimate is not None
        assert q.share is not None
        assert q.share.lower <= q.share.value <= q.share.upper
        assert q.n_listeners == 24
        assert q.bound_by
        assert q.level_equivalent is not None
        assert q.level_equivalent.db is not None or q.level_equivalent.reason
        assert {s.name for s in q.sensitivity} >= {
            "answers pooled over listeners",
            "sign test over listeners",
        }


def test_matched_questions_take_level_every_way_and_loudness_takes_none(bells_findings):
    ways = [(c.metric, c.slope_at) for c in bells_findings.question("d-brighter-than-c").level_checks]
    assert ways == [
        (metric, at) for metric in ("laf_max_db", "lae_db") for at in ("estimate", "lower", "upper")
    ]
    for name in ("b-louder-than-a", "b-as-loud-as-a-matched"):
        assert [c.slope_at for c in bells_findings.question(name).level_checks] == ["none"]


def test_a_share_over_listeners_is_nearer_to_even_than_the_average_listener(bells_findings):
    for q in bells_findings.questions:
        assert abs(q.share.value - 0.5) <= abs(q.share_average_listener - 0.5) + 1e-12


def test_strengths_have_a_mean_of_zero_and_count_every_trial(bells_findings):
    for one in bells_findings.strengths:
        assert sum(s.strength.value for s in one.strengths) == pytest.approx(0, abs=1e-9)
        assert sum(s.n for s in one.strengths) == 2 * one.n_answers
        assert sum(s.n_chosen for s in one.strengths) == one.n_answers


def test_two_conditions_explain_nothing(bells_findings):
    loudness = [e for e in bells_findings.explanations if e.attribute == "loudness"]
    assert all(not e.slopes and "conditions cannot tell" in e.note for e in loudness)


def test_brightness_goes_with_the_centroid_and_ringing_with_decay(bells_findings):
    by_attribute = {
        e.attribute: {s.name: s for s in e.slopes} for e in bells_findings.explanations if e.slopes
    }
    assert by_attribute["brightness"]["brightness"].slope.lower > 0
    assert by_attribute["ringing"]["decay"].slope.lower > 0
