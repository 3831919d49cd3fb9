"""The draft check: what may be printed, up to stated harmless variation, is supported; nothing else is."""

import random

import pytest

from listening.records.found.findings import Findings
from listening.report.claims import canonical, draft_check, matching, nearest
from listening.report.sentences import forms
from listening.report.sentences.form import Form
from tests.report import printable_findings

D_OVER_C = "At equal loudness, dome D (hung free) is heard as brighter than dome C (hung free)"
COUNTED = f"{D_OVER_C}: chosen as the brighter one in 41 of 48 comparisons by 24 listeners."


@pytest.fixture(scope="module")
def found() -> Findings:
    return printable_findings.made()


@pytest.fixture(scope="module")
def check(found):
    return draft_check.of(found)


def word(draft, check):
    return draft_check.judge(draft, check).word


def test_every_printable_form_is_supported_by_its_own_question(check):
    uses = {form.use for form in check.forms}
    assert uses == {"headline", "sentence", "footnote", "long form"}
    for form in check.forms:
        judged = draft_check.judge(form.text, check)
        assert (judged.word, judged.question) == ("supported", form.question), form.text


HARMLESS = {
    "letter case": str.upper,
    "spacing": lambda text: "  " + text.replace(" ", "\u00a0 "),
    "a line break": lambda text: text.replace(" than ", "\nthan "),
    "no mark at the end": lambda text: text.rstrip("."),
    "an exclamation mark": lambda text: text.rstrip(".") + "!",
    "a reference to the footnote": lambda text: text.rstrip(".") + ".*",
    "no comma": lambda text: text.replace("loudness,", "loudness"),
    "quotation marks around it": lambda text: f"“{text}”",
    "the condition's name in the protocol": lambda text: text.replace("dome D (hung free)", "dome_d/free"),
    "quotation marks around a name": lambda text: text.replace("dome D (hung free)", "“dome D (hung free)”"),
    "the marker of a simulated panel": lambda text: f"Simulated panel, not for print: {text}",
    "a listed synonym": lambda text: text.replace("is heard as", "sounds"),
}


@pytest.mark.parametrize("change", HARMLESS.values(), ids=list(HARMLESS))
def test_harmless_variation_stays_supported(check, change):
    changed = change(COUNTED)
    assert changed != COUNTED
    assert word(changed, check) == "supported"


@pytest.mark.parametrize(
    "draft",
    [
        f"{D_OVER_C}.",
        "Dome D (hung free) is heard as brighter than dome C (hung free) at equal loudness.",
        f"{D_OVER_C}: chosen as the brighter one by 24 listeners in 41 of 48 comparisons.",
        COUNTED.replace("41", "forty-one").replace("48", "forty-eight").replace("24", "twenty-four"),
        "Of the six compared, recordings of dome_d/free are heard as the brightest at equal loudness.",
        "Bei gleicher Lautheit klingt „dome D (hung free)“ heller als „dome C (hung free)“.",
        "Bei gleicher Lautheit klingt dome D (hung free) heller als dome C (hung free).",
    ],
)
def test_the_order_of_clauses_numbers_in_words_and_german_stay_supported(check, draft):
    assert word(draft, check) == "supported"


def test_one_word_put_in_anywhere_and_nothing_is_supported(check):
    rng = random.Random(20)
    strange = ["really", "not", "and", "all", "2", "≫", "😀", "\u200b", "the", "or", "than", "brighter", "—"]
    for form in check.forms:
        for _ in range(4):
            said = form.text.split()
            said.insert(rng.randint(1, len(said) - 1), rng.choice(strange))
            draft = " ".join(said)
            assert check.form_of(draft) is None, draft


def test_one_word_left_out_and_nothing_is_supported(check):
    rng = random.Random(21)
    for form in check.forms:
        said = form.text.split()
        left_out = said.pop(rng.randrange(len(said)))
        assert check.form_of(" ".join(said)) is None, (left_out, form.text)


def test_another_digit_and_nothing_is_supported(check):
    for form in check.forms:
        for i, sign in enumerate(form.text):
            if sign.isdigit():
                draft = form.text[:i] + str((int(sign) + 1) % 10) + form.text[i + 1 :]
                assert check.form_of(draft) is None, draft


@pytest.mark.parametrize("wording", ["contradicted", "undecided", "no verdict"])
def test_nothing_is_supported_by_a_question_that_is_not(found, check, wording):
    turned = found.model_copy(
        update={
            "questions": tuple(q.model_copy(update={"word": wording}) for q in found.questions),
            "superlatives": tuple(s.model_copy(update={"word": wording}) for s in found.superlatives),
        }
    )
    other = draft_check.of(turned)
    assert other.forms == ()
    for form in check.forms:
        judged = draft_check.judge(form.text, other)
        assert judged.word != "supported"
        assert not any(text == form.text for text in judged.nearest)


def test_a_simulated_panel_supports_nothing_and_says_what_people_would(found):
    other = draft_check.of(found.model_copy(update={"simulated": True}))
    judged = draft_check.judge(COUNTED, other)
    assert (judged.word, judged.had_people_listened) == ("not supported", "supported")
    judged = draft_check.judge("Our bells are lovely.", other)
    assert (judged.word, judged.had_people_listened) == ("not judged", "not judged")


def test_a_table_collected_elsewhere_supports_nothing(imported_findings):
    other = draft_check.of(imported_findings)
    assert other.forms == ()
    assert draft_check.judge("A is heard as better than B.", other).word == "not supported"


def test_what_differs_is_marked_word_by_word(check):
    judged = draft_check.judge(COUNTED.replace("is heard", "is clearly heard"), check)
    assert judged.nearest[0] == COUNTED
    assert [(one.draft, one.printable) for one in judged.differs] == [("clearly", "")]
    assert "is [-clearly-] heard" in nearest.marked(judged.draft, judged.nearest[0])


def test_the_json_is_the_contract(check):
    keys = ["draft", "word", "had_people_listened", "question", "nearest", "differs"]
    assert list(draft_check.judge("Dome D is better.", check).as_json()) == keys
    assert draft_check.judge(COUNTED, check).as_json()["question"] == "d-brighter-than-c"


def test_an_open_question_is_named_and_its_sentence_makes_no_claim(check):
    draft = "At equal loudness, dome B (hung free) is heard as brighter than dome A (hung free)."
    judged = draft_check.judge(draft, check)
    assert judged.question == "b-brighter-than-a"
    assert judged.nearest[0].startswith("No claim: the test leaves open whether")
    assert any("undecided" in line for line in judged.why)


@pytest.mark.parametrize(
    ("draft", "is_claim"),
    [
        ("Welcome to our shop.", False),
        ("Our bells are lovely.", False),
        ("Made in our own workshop since the days of our grandparents.", False),
        ("Nothing rings like it.", True),
        ("The clearest bell you can buy.", True),
        ("Cyclists love it.", True),
        ("It is 40 % lighter.", True),
        ("Dome D.", True),
        ("Ｂuy it.", True),
    ],
)
def test_a_sentence_that_claims_something_is_told_from_one_that_does_not(check, draft, is_claim):
    assert word(draft, check) == ("not supported" if is_claim else "not judged")


def test_a_measured_number_may_have_another_number_of_decimals():
    form = Form(
        "q", "en", "sentence", ("rated {points} points higher.",), {"points": ("1.3",)}, {"points": 1.274}
    )
    known = matching.patterns((form,))
    said = {
        text: matching.find(f"Rated {text} points higher.", known) is form
        for text in ("1.3", "1.27", "1.274", "1,3", "1", "1.28", "1.2", "2", "13", "1.4")
    }
    assert said == {"1.3": True, "1.27": True, "1.274": True, "1,3": True} | dict.fromkeys(
        ("1", "1.28", "1.2", "2", "13", "1.4"), False
    )


def test_letters_that_only_look_alike_stay_other_letters():
    assert canonical.tokens("\u212a") != canonical.tokens("K")
    assert canonical.tokens("dome \u0410") != canonical.tokens("dome A")
    assert canonical.tokens("fu\u0308r") == canonical.tokens("für")
    assert canonical.strange("a\u200bb\u202e") == ["zero width space", "right-to-left override"]
    assert "\u202e" not in canonical.shown("a\u202eb\x1b[0m")
    assert "\x1b" not in canonical.shown("a\u202eb\x1b[0m")


def test_numbers_in_words_are_those_of_both_languages():
    known = canonical.numbers_in_words()
    assert (known["forty-one"], known["einundvierzig"], known["zwölf"], known["ninety"]) == (
        "41",
        "41",
        "12",
        "90",
    )
    assert "one" not in known
    assert len([1 for value in known.values() if value == "41"]) == 2


def test_forms_exist_only_where_they_are_true(check, found):
    of = {}
    for form in forms.all_of(found):
        of.setdefault((form.question, form.language), set()).add(form.use)
    assert of["d-brighter-than-c", "en"] == {"headline", "sentence", "footnote", "long form"}
    assert of["a-rings-like-c", "en"] == {"sentence", "footnote"}
    assert ("b-as-loud-as-a-matched", "en") not in of
    assert not {"b-brighter-than-a", "e-brighter-than-f"} & {question for question, _ in of}
    assert {language for _, language in of} == {"en", "de"}
