"""`listening claim`: one draft or a whole copy, for people and for programs."""

import json

import pytest

from listening import cli
from listening.records import study as study_form
from tests.report import printable_findings

CLAIM = (
    "At equal loudness, dome D (hung free) is heard as brighter than dome C (hung free): chosen as the "
    "brighter one in 41 of 48 comparisons by 24 listeners."
)
KEYS = ["draft", "word", "had_people_listened", "question", "nearest", "differs"]


@pytest.fixture
def study(tmp_path, monkeypatch):
    """A folder that counts as an analysed study with these findings."""
    found = printable_findings.made()
    found.save(tmp_path / "findings.json")
    from listening.commands import claim

    opened = study_form.Study(tmp_path)
    opened.findings.parent.mkdir(parents=True, exist_ok=True)
    found.save(opened.findings)
    monkeypatch.setattr(claim, "open_analysed", lambda folder: opened)
    return tmp_path


def run(capsys, *args):
    code = cli.main(["claim", *map(str, args)])
    return code, capsys.readouterr()


def test_a_printable_sentence_passes(study, capsys):
    code, said = run(capsys, CLAIM, study)
    assert code == 0
    assert said.out.startswith("SUPPORTED")


def test_another_one_fails_and_shows_what_differs(study, capsys):
    code, said = run(capsys, CLAIM.replace("is heard", "is clearly heard"), study)
    assert code == 1
    assert said.out.startswith("NOT SUPPORTED")
    assert f"nearest: {CLAIM}" in said.out
    assert "[-clearly-]" in said.out
    assert "footnote: Blind paired comparison" in said.out


def test_the_json_is_a_list_with_one_entry_a_draft(study, capsys):
    code, said = run(capsys, "Dome D is the best.", study, "--json")
    (entry,) = json.loads(said.out)
    assert code == 1
    assert list(entry) == KEYS
    assert entry["word"] == entry["had_people_listened"] == "not supported"


def test_a_copy_fails_if_one_sentence_does(study, capsys):
    copy = study / "copy.txt"
    copy.write_text(f"Welcome. {CLAIM}\n")
    code, said = run(capsys, "--file", copy, study)
    assert code == 0
    assert f"[+] {CLAIM}" in said.out
    assert "[.] Welcome." in said.out
    copy.write_text(f"Welcome. {CLAIM} The best bell.\n")
    code, said = run(capsys, "--file", copy, study, "--json")
    assert code == 1
    assert [one["word"] for one in json.loads(said.out)] == ["not judged", "supported", "not supported"]


def test_steering_and_hidden_signs_never_reach_the_screen(study, capsys):
    code, said = run(capsys, "dome D \x1b[31m\u202e\u200b is best", study)
    assert code == 1
    assert not {"\x1b", "\u202e", "\u200b"} & set(said.out)
    assert "right-to-left override" in said.out


@pytest.mark.parametrize("args", [["STUDY"], ["draft", "STUDY", "--file", "copy.txt"]])
def test_a_draft_or_a_copy_is_wanted(study, capsys, args):
    code, said = run(capsys, *(str(study) if one == "STUDY" else one for one in args))
    assert code == 2
    assert "wanted one" in said.err
