"""Printable sentences say what the verdict bears and no more."""

import pytest

from listening.report import rounding, sentences


def one(findings, name, **changes):
    return findings.question(name).model_copy(update=changes)


def test_a_supported_question_names_both_conditions_level_and_listeners(findings):
    text = sentences.printable(one(findings, "d-brighter-than-c"), findings)
    for part in ("At equal level", "dome D (hung free)", "dome C (hung free)", "brighter", "24 listeners"):
        assert part in text


def test_only_a_question_at_equal_level_says_beyond_being_louder(findings):
    for q in findings.questions:
        text = sentences.printable(q, findings)
        says = "beyond being louder" in text
        assert says == (q.beyond_level and q.kind == "more"), text


@pytest.mark.parametrize("word", ["undecided", "no verdict"])
def test_no_claim_is_made_without_a_verdict(findings, word):
    text = sentences.printable(one(findings, "d-brighter-than-c", word=word), findings)
    assert text.startswith("No claim")


def test_one_strike_speaks_of_recordings_not_of_designs(findings):
    q = one(findings, "d-brighter-than-c", these_recordings_only=True, stimuli_per_condition=1)
    text = sentences.printable(q, findings)
    assert "the recording of dome D (hung free) is heard" in text
    assert "1 recorded stroke of each" in sentences.footnote(q, findings)


def test_contradicted_is_said_against_the_claim(findings):
    text = sentences.printable(one(findings, "d-brighter-than-c", word="contradicted"), findings)
    assert "is not heard as brighter" in text


def test_every_question_lists_wordings_it_does_not_bear(findings):
    for q in findings.questions:
        wordings = " ".join(no.wording for no in sentences.not_borne(q))
        assert "proven" in wordings
        assert "est" in wordings


@pytest.mark.parametrize(
    ("share", "text"),
    [(0.5, "50"), (0.999, "more than 99"), (1.0, "100"), (0.001, "fewer than 1"), (0.0, "0")],
)
def test_shares_never_round_to_certainty(share, text):
    assert rounding.in_hundred(share) == text


def test_minus_signs_and_zeros():
    assert rounding.number(-0.004, 2) == "0.00"
    assert rounding.signed(-1.5, 1) == "−1.5"
    assert rounding.signed(1.5, 1) == "+1.5"
    assert rounding.p_value(0.00001) == "< 0.0001"
