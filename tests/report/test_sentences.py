"""Printable sentences say what the verdict bears and no more."""

import re

import pytest

from listening.records.found.interval import Interval
from listening.records.kinds import metric_register
from listening.records.protocols.conducted import Conducted, Sampled
from listening.report import rounding
from listening.report.page import reasons
from listening.report.sentences import (
    footnotes,
    forms,
    language,
    ratio_sentences,
    sentences,
    slots,
    wording,
    wordings_to_leave_out,
)
from tests.report import printable_findings


def one(findings, name, **changes):
    return findings.question(name).model_copy(update=changes)


def test_a_supported_question_names_both_conditions_level_and_listeners(findings):
    text = sentences.printable(one(findings, "d-brighter-than-c"), findings)
    for part in ("At equal loudness", "dome D (hung free)", "dome C (hung free)", "brighter", "24 listeners"):
        assert part in text


def test_no_sentence_implies_that_something_is_louder(findings):
    """`Beyond being louder` says that it is louder, which was not asked."""
    for form in forms.all_of(printable_findings.made()):
        assert not re.search("beyond|not just|nicht nur", form.text), form.text
    for q in findings.questions:
        assert "beyond" not in sentences.printable(q, findings)


def test_what_happened_is_printed_and_the_estimate_stands_in_the_footnote(findings):
    """Chosen in 41 of 48 comparisons: no hundred choices were made, and not all 24 chose it."""
    q = findings.question("d-brighter-than-c")
    text, foot = sentences.printable(q, findings), sentences.footnote(q, findings)
    assert "chosen as the brighter ones in 41 of 48 comparisons by 24 listeners" in text
    assert "100" not in text
    assert "estimated at 83 of 100 (95 % limits 73 to 90)" in foot


@pytest.mark.parametrize(
    ("more", "than", "said"),
    [
        ("bright/short", "dull/short", "edited so that only the brightness differs, the one with more of it"),
        ("dull/short", "bright/short", "edited so that only the brightness differs, the one with less of it"),
        ("dull/long", "dull/short", "edited so that only the length of ringing differs"),
    ],
)
def test_of_edited_recordings_the_edit_is_named_and_no_product(findings, more, than, said):
    isolated = one(findings, "d-brighter-than-c", presentation="isolated", more=more, than=than)
    text = sentences.printable(isolated, findings)
    assert said in text
    assert "dome" not in text
    assert "dome" not in sentences.ask(isolated, findings)
    twice = isolated.model_copy(update={"more": "bright/long", "than": "dull/short"})
    assert sentences.printable(twice, findings).startswith("No sentence for print")


def test_a_proof_of_matching_is_no_sentence_for_print(findings):
    q = findings.question("b-as-loud-as-a-matched")
    assert sentences.printable(q, findings).startswith("The matching held, which is no sentence for print")
    recorded = q.model_copy(update={"presentation": "as recorded"})
    assert sentences.printable(recorded, findings).startswith("As recorded, level differences included, ")


def with_units(findings, n_specimens, n_strikes=3):
    sampled = tuple(
        Sampled(
            condition=c, n_specimens=n_specimens, recordings=tuple(f"{c[5]}-{i}" for i in range(n_strikes))
        )
        for c in ("dome_d/free", "dome_c/free")
    )
    return findings.model_copy(update={"conducted": Conducted(sampled=sampled)})


@pytest.mark.parametrize(
    ("n_specimens", "n_strikes", "said", "counted"),
    [
        (3, 3, ", dome D (hung free) is heard", "3 recorded strikes on 3 specimens of each"),
        (1, 3, ", recordings of dome D (hung free) are heard", "3 recorded strikes on one specimen of each"),
        (0, 3, ", recordings of dome D (hung free) are heard", "3 recorded strikes of each"),
        (
            1,
            1,
            ", the recording of dome D (hung free) is heard",
            "one recorded strike on one specimen of each",
        ),
    ],
)
def test_one_recorded_unit_never_speaks_for_the_design(findings, n_specimens, n_strikes, said, counted):
    found = with_units(findings, n_specimens, n_strikes)
    q = one(found, "d-brighter-than-c")
    assert said in sentences.printable(q, found)
    assert counted in sentences.footnote(q, found)


def test_the_footnote_says_what_counsel_asks_and_what_nobody_wrote_down(findings):
    found = printable_findings.made()
    text = sentences.footnote(found.question("d-brighter-than-c"), found)
    for part in (
        "24 untrained listeners (adults who cycle",
        "recruited by notice",
        "2026-11-20 to 2026-11-24",
        "run by the maker’s own laboratory",
        "heard over headphones",
        "at the level at which they were recorded",
        "asked: “Which of the two sounds is brighter?”",
        "3 recorded strikes on 3 specimens of each",
        "recordings dome_d-free-1",
        "played equally loud, as calculated for the human ear by ISO 532-1",
        "planned before the test; study 894fb5ac556914fd",
    ):
        assert part in text, part
    assert "naive" not in text
    assert footnotes.missing(found) == []
    assert len(footnotes.missing(findings)) == 4


def test_every_language_has_the_same_forms_and_leaves_no_slot_empty():
    found = printable_findings.made()
    made = {words.code: list(forms.in_language(found, words)) for words in language.known()}
    kinds = {code: [(form.question, form.use) for form in some] for code, some in made.items()}
    assert kinds["en"] == kinds["de"]
    for form in (form for some in made.values() for form in some):
        assert not re.search(r"[{}]|  |None| ,|\(\)|\.\.", form.text), form.text
        assert form.use == "headline" or form.text.endswith("."), form.text


def test_a_language_is_one_file_with_the_keys_of_the_english_one():
    english, german = (language.of(code).words for code in ("en", "de"))
    for section in (
        "where",
        "names",
        "claim",
        "evidence",
        "measures",
        "margins",
        "points",
        "footnote",
        "long",
    ):
        assert english[section].keys() == german[section].keys(), section


def test_an_attribute_without_german_words_has_no_german_sentence(findings):
    q = one(findings, "d-brighter-than-c", comparative="less harsh")
    made = {words.code: list(forms.of_question(q, findings, words)) for words in language.known()}
    assert made["de"] == []
    assert "less harsh" in made["en"][1].text


def test_a_factor_names_its_metric_and_how_it_was_measured():
    found = printable_findings.made()
    text = ratio_sentences.printable(found.question("f-longer-than-e"), found)
    assert "measured on the recordings as they came" in text
    assert "take at least 1.4 times as long as recordings of dome E (hung free) to fade to a tenth" in text
    foot = ratio_sentences.footnote(found.question("f-longer-than-e"), found)
    assert "the ratio measured is 1.52 (90 % limits 1.48 to 1.55)" in foot


def test_no_difference_answers_are_told(findings):
    q = one(findings, "d-brighter-than-c", n_direct_no_difference=3)
    assert "(3 comparisons were answered “no difference”)." in sentences.printable(q, findings)


@pytest.mark.parametrize("task", ["triangle", "duo-trio", "2-AFC", "same-different"])
def test_what_was_told_apart_gives_counts_and_the_guessing_rate(task):
    found = printable_findings.made()
    q = found.question("d-told-from-c").model_copy(update={"task": task, "n_false": 9, "n_alike": 48})
    text = sentences.printable(q, found)
    assert "70 of 96" in text
    assert ("9 of 48 pairs that are alike" if task == "same-different" else "guessing alone gives 33") in text


def test_ratings_are_told_in_points_of_their_scale(findings):
    q = one(
        findings,
        "d-brighter-than-c",
        unit="points",
        task="category rating",
        scale=("dull", "rather dull", "between", "rather bright", "bright"),
        points=Interval(value=1.27, lower=0.8, upper=1.7, coverage=0.9),
    )
    text = sentences.printable(q, findings)
    assert "rated 1.3 points higher on average by 24 listeners (scale 1 to 5, “dull” to “bright”)" in text


@pytest.mark.parametrize(
    ("share", "planned", "said"),
    [(0.5996, 0.6, "59.96"), (0.5951, 0.6, "59.5"), (0.58, 0.6, "58"), (0.6, 0.6, "60")],
)
def test_rounding_never_contradicts_what_it_is_compared_with(share, planned, said):
    assert rounding.in_hundred_beside(share, planned) == said


def test_an_estimate_just_below_the_planned_effect_is_printed_below_it(findings):
    q = one(
        findings,
        "d-brighter-than-c",
        word="undecided",
        reason="the estimate is below the smallest effect that matters",
        share=Interval(value=0.598, lower=0.55, upper=0.65, coverage=0.9),
    )
    assert "the estimate, 59.8 of 100 choices, is below the 60 choices" in reasons.of(q, findings)


@pytest.mark.parametrize("word", ["undecided", "no verdict"])
def test_no_claim_is_made_without_a_verdict(findings, word):
    text = sentences.printable(one(findings, "d-brighter-than-c", word=word), findings)
    assert text.startswith("No claim")


def test_contradicted_is_no_claim_and_not_the_opposite(findings):
    text = sentences.printable(one(findings, "d-brighter-than-c", word="contradicted"), findings)
    assert text.startswith("No claim: the test speaks against it that, at equal loudness, ")
    assert "by as much as was planned to matter (60 choices in 100)" in text


def test_every_question_lists_wordings_it_does_not_bear(findings):
    assert "proven" in " ".join(no.wording for no in wordings_to_leave_out.ALWAYS)
    for q in findings.questions:
        for word in ("supported", "undecided", "contradicted"):
            assert wordings_to_leave_out.of_question(q.model_copy(update={"word": word}), findings)
    wordings = " ".join(
        no.wording
        for no in wordings_to_leave_out.of_question(findings.question("d-brighter-than-c"), findings)
    )
    for tried in (
        "the brightest",
        "better",
        "preferred",
        "clearer",
        "duller",
        "not just louder",
        "recordings of",
    ):
        assert tried in wordings
    always = " ".join(no.wording for no in wordings_to_leave_out.ALWAYS)
    assert all(tried in always for tried in ("8 of 10 people", "you will hear", "up to", "the market"))
    assert "without “at equal loudness”" in wordings


def test_the_same_is_said_with_its_bound(findings):
    text = sentences.printable(findings.question("b-as-loud-as-a-matched"), findings)
    assert "within the equivalence margin planned (neither is chosen as often as 70 times in 100)" in text


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
    "more": "the lower limit is not above zero and the upper limit reaches the smallest effect that matters",
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
            ("contradicted", "the upper limit is below the smallest effect that matters"),
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


def test_a_metric_without_words_of_its_own_goes_by_its_name_in_english_alone():
    assert slots.measured("laf_max_db", language.of("en")).startswith("the LAFmax of {more}")
    assert slots.measured("laf_max_db", language.of("de")) == ""
    assert {m.key for m in metric_register.ALL if m.is_ratio} <= language.of("de").words["measures"].keys()


def test_a_task_without_words_of_its_own_is_told_plainly():
    found = printable_findings.made()
    q = found.question("d-told-from-c").model_copy(update={"task": "five of a kind"})
    assert "the right answer was given in 70 of 96 trials by 24 listeners" in sentences.printable(q, found)
    assert sentences.footnote(q, found).startswith("Blind test (five of a kind), 24 untrained listeners")


def test_a_name_with_a_comma_stands_in_quotation_marks(findings):
    q = one(findings, "d-brighter-than-c", more_label="dome d, free")
    assert ", recordings of “dome d, free” are heard" in sentences.printable(q, findings)
