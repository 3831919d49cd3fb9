"""A whole copy: split into sentences, each judged; markup neither hides a claim nor makes one."""

import zipfile
from pathlib import Path

import pytest

from listening.errors import RecordError
from listening.report.claims import copy_text, draft_check, whole_copy
from tests.report import printable_findings

CLAIM = (
    "At equal loudness, dome D (hung free) is heard as brighter than dome C (hung free): chosen as the "
    "brighter one in 41 of 48 comparisons by 24 listeners."
)
FALSE = "It is also the best bell of all."
PLAIN = "Our shop opens on Monday."
DOCX = (
    '<?xml version="1.0"?><w:document xmlns:w="http://schemas.openxmlformats.org/wordprocessingml/2006/main">'
    "<w:body>{}</w:body></w:document>"
)


@pytest.fixture(scope="module")
def check():
    return draft_check.of(printable_findings.made())


def docx(path, *paragraphs, head=""):
    runs = "".join(
        f"<w:p>{''.join(f'<w:r><w:t>{part}</w:t></w:r>' for part in one)}</w:p>" for one in paragraphs
    )
    with zipfile.ZipFile(path, "w") as whole:
        whole.writestr("word/document.xml", head + DOCX.format(runs))
    return path


def words(path, check):
    return [one.word for one in whole_copy.judge(path, check)]


def written(path, text):
    path.write_text(text, encoding="utf-8")
    return path


def test_plain_text_is_cut_into_sentences(check, tmp_path):
    path = written(tmp_path / "copy.txt", f"{PLAIN} {CLAIM}\n{FALSE}\n")
    assert words(path, check) == ["not judged", "supported", "not supported"]


def test_markdown_marks_are_not_part_of_a_sentence(check, tmp_path):
    text = f"# Welcome\n\n- **{CLAIM[:-1]}**.\n- {FALSE}\n\n[{PLAIN}](http://x.example)\n<!-- {FALSE} -->\n"
    found = words(written(tmp_path / "copy.md", text), check)
    assert found == ["not judged", "supported", "not supported", "not judged"]


def test_of_a_page_what_is_seen_or_read_out_is_judged(check, tmp_path):
    bold = CLAIM.replace("brighter than", "<b>brighter</b>\n than")
    text = (
        f"<title>{PLAIN}</title><style>p{{}}</style><script>{FALSE}</script><p>{bold}<sup>1</sup></p>"
        f'<img alt="{FALSE}" src="x"><ul><li>{FALSE}<li>Open</ul>'
    )
    text = text.replace("<sup>1</sup>", "<sup>¹</sup>")
    found = words(written(tmp_path / "copy.html", text), check)
    assert found == ["not judged", "supported", "not supported", "not supported", "not judged"]


def test_of_a_word_document_every_paragraph_is_judged(check, tmp_path):
    path = docx(tmp_path / "copy.docx", [CLAIM[:40], CLAIM[40:]], [FALSE], [PLAIN])
    assert words(path, check) == ["supported", "not supported", "not judged"]


def test_a_long_form_and_a_footnote_are_judged_as_one(check, tmp_path):
    forms = [form.text for form in check.forms if form.use in ("long form", "footnote")]
    path = written(tmp_path / "copy.txt", f"{PLAIN} " + f"\n\n{PLAIN} ".join(forms))
    found = words(path, check)
    assert found == ["not judged", "supported"] * len(forms)


def test_half_a_long_form_is_not_supported(check):
    whole = next(form.text for form in check.forms if form.use == "long form")
    for n in range(1, len(copy_text.sentences(whole))):
        half = " ".join(copy_text.sentences(whole)[:n])
        assert any(one.word != "supported" for one in whole_copy.of_paragraph(half, check))


@pytest.mark.parametrize(
    "text",
    [
        f"{CLAIM} And every other bell of ours.",
        f"{CLAIM[:-1]}! Not only that: it is safer.",
        f"{CLAIM} – {FALSE}",
        f"False: {CLAIM}",
        f"{CLAIM[:-1]}, and louder.",
        f"{CLAIM}\u200b{FALSE}",
    ],
)
def test_a_claim_that_rides_along_is_seen(check, text):
    assert "not supported" in [one.word for one in whole_copy.of_paragraph(text, check)]


def test_abbreviations_and_numbers_end_no_sentence():
    said = copy_text.sentences(
        "Approx. 24 listeners, e.g. cyclists, heard 1.4 times as much. Then “Stop.” Next."
    )
    assert said == ["Approx. 24 listeners, e.g. cyclists, heard 1.4 times as much.", "Then “Stop.”", "Next."]


@pytest.mark.parametrize(
    ("name", "content", "part"),
    [
        ("copy.pdf", b"%PDF", "wanted .txt, .md, .html"),
        ("copy.docx", b"no zip", "cannot be read"),
        ("copy.txt", b"\xff\xfe\x00", "UTF-16"),
        ("copy", b"", "wanted .txt"),
    ],
)
def test_a_file_that_cannot_be_read_says_what_to_do(tmp_path, name, content, part):
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(RecordError, match=part):
        copy_text.paragraphs(path)
    with pytest.raises(RecordError, match="cannot be read"):
        copy_text.paragraphs(tmp_path / "nothing.txt")


def test_a_word_document_with_a_document_type_is_refused(tmp_path):
    bomb = '<!DOCTYPE x [<!ENTITY a "aaaa">]>'
    with pytest.raises(RecordError, match="document type"):
        copy_text.paragraphs(docx(tmp_path / "copy.docx", ["&amp;"], head=bomb))


@pytest.mark.parametrize("kind", ["txt", "md", "html"])
@pytest.mark.parametrize("run", [" ", "\n", "\u00a0", " \n", "[", "*a ", "~~a "])
def test_a_long_run_of_one_sign_takes_no_square_of_its_length(tmp_path: Path, kind: str, run: str) -> None:
    """With it a draft of 200 kB took minutes."""
    path = tmp_path / f"copy.{kind}"
    path.write_text("Dome D rings longer." + run * (200_000 // len(run)) + "Dome A does not.")
    found = [said for part in copy_text.paragraphs(path) for said in copy_text.sentences(part)]
    assert found[0].startswith("Dome D rings longer.")
    assert found[-1].endswith("Dome A does not.")


def test_comments_go_links_leave_their_words_and_an_unclosed_comment_stays(tmp_path: Path) -> None:
    path = tmp_path / "copy.md"
    path.write_text("One <!-- a <!-- b -->two [three](http://x/(y)) ~~four~~ <!-- five")
    assert copy_text.paragraphs(path) == ["One two three four <!-- five"]


def test_a_page_whose_tags_never_end_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "copy.html"
    path.write_text("<p>Dome D rings longer.</p>" + "<a " * 501)
    with pytest.raises(RecordError, match="501 times < after the last >"):
        copy_text.paragraphs(path)
