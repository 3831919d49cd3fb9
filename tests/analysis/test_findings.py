"""The findings of a whole study, in memory."""

import json

import pandas as pd
import pytest

from listening.analysis.collect import keyed_answers
from listening.analysis.decide import decide
from listening.records.found.findings import Findings


def test_same_answers_same_bytes_whatever_their_order(bells, bells_answers):
    answers = bells_answers(1, n_listeners=8)
    tables = [keyed_answers.frame(found, bells.key, bells.manifest) for found in (answers, answers[::-1])]
    pd.testing.assert_frame_equal(*tables)
    asked = bells.protocol.questions[0]
    one, other = (decide.decide_question(table, asked).judged.found for table in tables)
    assert (one.share, one.se, one.lower, one.upper) == (other.share, other.se, other.lower, other.upper)


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
        assert q.limits_by
        assert q.level_equivalent is not None
        assert q.level_equivalent.db is not None or q.level_equivalent.reason
        assert {s.name for s in q.sensitivity} >= {
            "answers pooled over listeners",
            "sign test over listeners",
        }


def test_matched_questions_take_level_every_way_and_loudness_takes_none(bells_findings):
    checks = bells_findings.question("b-brighter-than-a").level_checks
    assert {c.metric for c in checks} == {"laf_max_db", "lae_db", "as heard"}
    for c in checks:
        assert c.slope_at == "monotony"
        assert c.slope_logit_per_db == 0  # no straight slope decides
        if c.residual_db:  # nothing left over needs no bound
            assert c.control_gain_db >= abs(c.residual_db) - 0.05 - 1e-9
    for name in ("b-louder-than-a", "b-as-loud-as-a-matched"):
        assert bells_findings.question(name).level_checks == ()


def test_what_decides_and_what_explains_stand_apart(bells_findings):
    for q in bells_findings.questions:
        assert q.decided_by == "direct share"
        assert sum(one.n for one in q.listeners) == q.n_direct
        assert sum(one.n_more for one in q.listeners) == q.n_direct_more
        assert sum(one.n > 0 for one in q.listeners) == q.n_listeners
        assert q.df <= q.n_listeners - 1
        models = {s.name for s in q.sensitivity if "model" in s.name or "strengths" in s.name}
        assert "mixed model of the direct answers" in models
        assert all(s.unit == "logit" for s in q.sensitivity if s.name in models)
    only = bells_findings.question("d-brighter-than-c")
    assert {"mixed model over all conditions", "strengths over all conditions"} <= {
        s.name for s in only.sensitivity
    }


def test_strengths_have_a_mean_of_zero_and_count_every_trial(bells_findings):
    for one in bells_findings.strengths:
        if (one.attribute, one.presentation) == ("loudness", "matched"):  # three pairs that nothing joins
            assert not one.strengths
            assert "dome_a/free with dome_b/free" in one.note
            continue
        assert sum(s.strength.value for s in one.strengths) == pytest.approx(0, abs=1e-9)
        assert sum(s.n for s in one.strengths) == 2 * one.n_answers
        assert sum(s.n_chosen for s in one.strengths) == one.n_answers


def test_two_conditions_explain_nothing(bells_findings):
    [loudness] = [
        e for e in bells_findings.explanations if (e.attribute, e.presentation) == ("loudness", "as recorded")
    ]
    assert not loudness.slopes
    assert "conditions are too few to separate" in loudness.note


def test_brightness_goes_with_the_centroid_and_ringing_with_decay(bells_findings):
    by_attribute = {
        e.attribute: {s.name: s for s in e.slopes} for e in bells_findings.explanations if e.slopes
    }
    assert by_attribute["brightness"]["brightness"].slope.lower > 0
    assert by_attribute["ringing"]["decay"].slope.lower > 0
