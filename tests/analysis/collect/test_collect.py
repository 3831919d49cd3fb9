"""Answers joined with the key."""

import pytest

from listening.analysis.collect import keyed_answers
from listening.errors import StudyError


def test_a_control_pair_is_one_stimulus_against_itself(bells, bells_answers):
    table = keyed_answers.frame(bells_answers(0, n_listeners=4), bells.key, bells.manifest)
    controls = table[table["role"] == "control"]
    assert len(controls) == 4 * 3 * 8  # listeners, attributes, two gains four times each
    assert set(controls["gain_difference_db"].abs()) == {
        1.0,
        1.5,
        4.0,
    }  # loudness is asked at 1 dB, the others at 1.5 dB
    assert (controls["stimulus_first"] == controls["stimulus_second"]).all()
    # a gain moves every level metric alike
    assert controls["lae_db_difference"].tolist() == pytest.approx(controls["gain_difference_db"].tolist())


def test_matched_trials_have_no_difference_in_the_metric_they_were_matched_on(bells, bells_answers):
    table = keyed_answers.frame(bells_answers(0, n_listeners=4), bells.key, bells.manifest)
    study = table[(table["role"] == "study") & (table["presentation"] == "matched")]
    assert study["laf_max_db_difference"].abs().max() == 0
    assert study["lae_db_difference"].abs().max() > 1


def test_practice_is_not_counted(bells, bells_answers):
    answers = bells_answers(0, n_listeners=2)
    practice = answers[0].model_copy(update={"practice": True})
    table = keyed_answers.frame([practice, *answers[1:]], bells.key, bells.manifest)
    assert len(table) == len(answers) - 1


def test_an_answer_to_a_clip_of_another_study_is_refused(bells, bells_answers):
    answers = bells_answers(0, n_listeners=1)
    strange = answers[0].model_copy(update={"clips": ("zzzzzzzz", answers[0].clips[1])})
    with pytest.raises(StudyError, match="zzzzzzzz"):
        keyed_answers.frame([strange, *answers[1:]], bells.key, bells.manifest)


def test_no_answer_yet_is_said_plainly(bells):
    with pytest.raises(StudyError, match="no counted answer yet"):
        keyed_answers.frame([], bells.key, bells.manifest)


def test_adjustments_are_told_from_no_answers(bells, bells_answers):
    set_by_ear = bells_answers(0, n_listeners=1)[0].model_copy(update={"task": "adjustment", "answer": "1.5"})
    with pytest.raises(StudyError, match=r"1 answers, all of them adjustments.*--by-ear"):
        keyed_answers.frame([set_by_ear], bells.key, bells.manifest)


def test_the_hash_of_the_answers_does_not_depend_on_their_order(bells_answers):
    answers = bells_answers(0, n_listeners=2)
    assert keyed_answers.digest(answers) == keyed_answers.digest(answers[::-1])
    changed = answers[0].model_copy(update={"answer": "first" if answers[0].answer == "second" else "second"})
    assert keyed_answers.digest([changed, *answers[1:]]) != keyed_answers.digest(answers)
