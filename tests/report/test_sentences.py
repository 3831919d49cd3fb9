"""Printable sentences say what the verdict bears and no more."""

import pytest

from listening.report import rounding
from listening.report.page import reasons
from listening.report.sentences import sentences, wording, wordings_to_leave_out


def one(findings, name, **changes):
    return findings.question(name).model_copy(update=changes)


def test_a_supported_question_names_both_conditions_level_and_listeners(findings):
    text = sentences.printable(one(findings, "d-brighter-than-c"), findings)
    for part in ("At equal loudness", "dome D (hung free)", "dome C (hung free)", "brighter", "24 listeners"):
        assert part in text


def test_only_a_question_at_equal_level_says_beyond_being_louder(findings):
    for q in findings.questions:
        text = sentences.printable(q, findings)
        says = "beyond being louder" in text
        assert says == (q.beyond_level and q.kind == "more"), text


@pytest.mark.parametrize(
    ("more", "than", "cause"),
    [
        ("bright/short", "dull/short", "differ in brightness alone, so that this is the cause"),
        ("dull/long", "dull/short", "differ in how long they ring alone, so that this is the cause"),
        ("bright/long", "dull/short", None),
    ],
)
def test_a_cause_is_named_where_one_property_alone_was_moved(findings, more, than, cause):
    isolated = one(findings, "d-brighter-than-c", presentation="isolated", more=more, than=than)
    text = sentences.printable(isolated, findings)
    assert (cause in text) if cause else ("cause" not in text)
    assert "cause" not in sentences.printable(isolated.model_copy(update={"word": "undecided"}), findings)
    assert "cause" not in sentences.printable(one(findings, "d-brighter-than-c"), findings)


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
    assert "proven" in " ".join(no.wording for no in wordings_to_leave_out.ALWAYS)
    for q in findings.questions:
        for word in ("supported", "undecided", "contradicted"):
            assert wordings_to_leave_out.of_question(q.model_copy(update={"word": word}), findings)
    wordings = " ".join(
        no.wording
        for no in wordings_to_leave_out.of_question(findings.question("d-brighter-than-c"), findings)
    )
    assert "the brightest" in wordings
    assert "without “at equal loudness”" in wordings


def test_the_same_is_said_with_its_bound(findings):
    text = sentences.printable(findings.question("b-as-loud-as-a-matched"), findings)
    assert "within the bound planned (neither is chosen as often as 70 times in 100)" in text


@pytest.mark.parametrize(
    ("comparative", "most", "claim"),
    [
        ("brighter", "the brightest", "A is heard as brighter than B"),
        ("longer-ringing", "the longest-ringing", "A is heard as longer-ringing than B"),
        ("better", "the best", "A is heard as better than B"),
        ("preferred", "the most preferred", "A is preferred to B"),
        ("less harsh", "the least harsh", "A is heard as less harsh than B"),
        ("more even", "the most even", "A is heard as more even than B"),
    ],
)
def test_comparatives_become_superlatives_and_claims_in_plain_english(comparative, most, claim):
    assert wording.superlative(comparative) == most
    assert wording.is_heard("A", comparative, "B") == claim


OPEN = {
    "more": "the lower bound is not above zero and the upper bound reaches the smallest effect that matters",
    "same": "the interval does not lie inside the smallest effect that matters",
}
JARGON = (
    "lower bound",
    "upper bound",
    "interval",
    "log-odds",
    "laf_max",
    "_phon",
    "logit",
    "slope's",
    "alpha",
)


def test_reasons_are_given_in_numbers_of_people_not_of_models(findings):
    for q in findings.questions:
        for word, reason in (
            (q.word, q.reason),
            ("contradicted", "the upper bound is below the smallest effect that matters"),
            (
                "undecided",
                OPEN[q.kind],
            ),
        ):
            said = reasons.of(q.model_copy(update={"word": word, "reason": reason}), findings)
            assert not [word for word in JARGON if word in said.lower()], said


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
