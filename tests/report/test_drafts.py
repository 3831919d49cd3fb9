"""Drafts held against findings: 586 labelled by hand before the check was run, in twelve groups.

A dangerous draft that is called supported is one that somebody may print. An honest one has to be answered
with the sentence of its question. The labels follow the rules of the test, not the code; our own sentences.
"""

import tomllib
from pathlib import Path

import pytest

from listening.report.claims import draft_check
from tests.report import printable_findings

GROUPS = {
    path.stem: tomllib.loads(path.read_text()) for path in (Path(__file__).parent / "drafts").glob("*.toml")
}
MISSED_AT_MOST = 0.1  # of honest drafts, without the sentence of their question


@pytest.fixture(scope="module")
def check():
    return draft_check.of(printable_findings.made())


def said(draft):
    return draft.format_map(printable_findings.NAMES)


def test_there_are_at_least_five_hundred_in_twelve_groups():
    assert len(GROUPS) == 12
    assert sum(len(one["dangerous"]) + len(one["honest"]) for one in GROUPS.values()) >= 500
    assert all(len(one["dangerous"]) >= 40 and one["honest"] for one in GROUPS.values())


@pytest.mark.parametrize("group", sorted(GROUPS))
def test_no_dangerous_draft_is_supported(check, group):
    judged = [draft_check.judge(said(draft), check) for draft in GROUPS[group]["dangerous"]]
    assert [one.draft for one in judged if "supported" in (one.word, one.had_people_listened)] == []


def test_honest_drafts_find_the_sentence_of_their_question(check):
    missed = []
    honest = [one for group in GROUPS.values() for one in group["honest"]]
    own = {form.text: form.question for form in check.forms}
    for one in honest:
        judged = draft_check.judge(said(one["say"]), check)
        shown = {own.get(text, judged.question) for text in judged.nearest}
        if judged.word != "supported" and one["near"] not in shown:
            missed.append((judged.draft, judged.nearest))
    assert len(missed) <= MISSED_AT_MOST * len(honest), missed
    assert len(honest) >= 50


def test_the_labels_are_seen_to_fail_on_a_check_that_skips_what_it_does_not_know(check):
    """A check that looks for a printable sentence anywhere in a draft lets dangerous ones through."""
    loose = [form.text.partition(":")[0].lower() for form in check.forms if form.use == "sentence"]
    drafts = [said(draft).lower() for group in GROUPS.values() for draft in group["dangerous"]]
    through = [draft for draft in drafts if any(text in draft for text in loose)]
    assert len(through) > 10


def test_every_dangerous_draft_is_answered(check):
    for group in ("filler", "implied", "count", "superlative", "factor"):
        for draft in GROUPS[group]["dangerous"]:
            judged = draft_check.judge(said(draft), check)
            assert judged.nearest, draft
            assert judged.differs, draft
