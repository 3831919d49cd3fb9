"""Draft sentences held against findings: labelled by hand, nothing unknown is ever borne."""

import tomllib
from pathlib import Path

import pytest

from listening.report import claims, sentences

DRAFTS = tomllib.loads((Path(__file__).parent / "drafts.toml").read_text())
LABELLED = [(label.replace("_", " "), draft) for label, drafts in DRAFTS.items() for draft in drafts]


def test_there_are_sixty_labelled_drafts():
    assert len(LABELLED) == 60


@pytest.mark.parametrize(("ruling", "draft"), LABELLED, ids=[draft[:60] for _, draft in LABELLED])
def test_a_draft_is_judged_as_labelled(findings, ruling, draft):
    found = claims.judge(draft, findings)
    assert found.ruling == ruling, found
    if ruling == "not borne":
        assert found.unsupported


def test_our_own_printable_sentences_are_borne_where_they_claim(findings):
    for q in findings.questions:
        if q.word == "supported":
            found = claims.judge(sentences.printable(q, findings), findings)
            assert (found.ruling, found.question) == ("borne", q.id), found


def test_no_sentence_is_borne_by_a_simulated_panel(simulated_findings):
    for draft in DRAFTS["borne"]:
        assert claims.judge(draft, simulated_findings).ruling == "not borne"


@pytest.mark.parametrize("word", ["contradicted", "undecided", "no verdict"])
def test_no_sentence_is_borne_by_a_question_that_is_not_supported(findings, word):
    turned = tuple(q.model_copy(update={"word": word}) for q in findings.questions)
    open_findings = findings.model_copy(update={"questions": turned})
    for draft in DRAFTS["borne"]:
        assert claims.judge(draft, open_findings).ruling == "not borne"


@pytest.mark.parametrize("word", ["sparkling", "never", "not", "almost", "warm"])
def test_one_strange_word_and_nothing_is_borne(findings, word):
    for draft in DRAFTS["borne"]:
        head, rest = draft.split(" ", 1)
        assert claims.judge(f"{head} {word} {rest}", findings).ruling != "borne"


def test_a_superlative_is_borne_word_for_word_only(findings):
    own = sentences.superlative(findings.superlatives[0], findings)
    assert claims.judge(own, findings).ruling == "borne"
    assert claims.judge(own.replace("of 6 compared", "of all"), findings).ruling == "not borne"


D_OVER_C = "At equal level, dome D (hung free) is heard as brighter than dome C (hung free)"
RIDERS = [
    f"{D_OVER_C}: listeners chose it in 100 of 100 choices.",
    f"{D_OVER_C}: 24 listeners chose it in 87 of 100 choices.",
    f"{D_OVER_C}, in 48 of 48 direct comparisons.",
    f"{D_OVER_C} by 24 people in 100.",
    f"{D_OVER_C}; one of two listeners in 100 chose dome D.",
    f"{D_OVER_C}, and dome C (hung free) sounds brighter than dome D (hung free).",
    f"{D_OVER_C}, A and B.",
    "At equal level, dome D (hung free) and our dome (free) are heard as brighter than dome C (hung free).",
    "Dome B (hung free) sounds louder than dome A (hung free), C, D, E and F.",
    "Was dome D (hung free) heard as brighter than dome C (hung free) at equal level?",
]


@pytest.mark.parametrize("draft", RIDERS)
def test_a_number_or_a_second_claim_that_rides_along_is_not_borne(findings, draft):
    assert claims.judge(D_OVER_C + ".", findings).ruling == "borne"
    assert claims.judge(draft, findings).ruling != "borne"
