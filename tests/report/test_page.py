"""The page: self-contained, readable by everybody. Numbers: test_numbers.py; figures: test_figures.py."""

import re
import struct
from html.parser import HTMLParser
from itertools import pairwise
from xml.etree import ElementTree

import pytest

from listening.commands import report
from listening.records.found.findings_question import ContrastPart
from listening.records.found.findings_study import Looks, Remark, RoomNoted
from listening.report.figures import figures
from listening.report.page import claims_sheet, page, style, top


class Text(HTMLParser):
    """The text of a page outside styles and figures, and its tags."""

    def __init__(self) -> None:
        super().__init__()
        self.inside: list[str] = []
        self.words: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []

    def handle_starttag(self, tag, attrs) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag in ("style", "svg"):
            self.inside.append(tag)

    def handle_endtag(self, tag) -> None:
        if self.inside and tag == self.inside[-1]:
            self.inside.pop()

    def handle_data(self, data) -> None:
        if not self.inside:
            self.words.append(data)


def parsed(text: str) -> Text:
    made = Text()
    made.feed(text)
    return made


@pytest.fixture
def without_figures(monkeypatch: pytest.MonkeyPatch) -> None:
    """Pages whose words alone count: drawing takes nearly all the time of one."""
    monkeypatch.setattr(figures, "svg_of", lambda draw, *, name, title, **_: f"<svg aria-label='{title}'/>")


def test_the_page_asks_nothing_of_the_network(page_text):
    for tag, attributes in parsed(page_text).tags:
        assert tag not in ("script", "link", "iframe", "object") or attributes.get("href") == "data:,"
        for name in ("src", "href", "xlink:href"):
            target = attributes.get(name)
            is_sheet = (tag, target) == ("a", "claims.html")  # a link to go to, which lies beside the page
            assert target is None or is_sheet or target.startswith(("#", "data:")), (tag, target)
    assert "@import" not in page_text
    assert "url(http" not in page_text


def test_every_figure_has_a_name_and_every_table_a_caption(page_text):
    found = parsed(page_text)
    pictures = [a for tag, a in found.tags if tag == "svg"]
    assert len(pictures) >= 10
    assert all(a.get("role") == "img" and a.get("aria-label") for a in pictures)
    tags = [tag for tag, _ in found.tags]
    assert tags.count("table") == tags.count("caption") > 8


def test_ids_are_unique(page_text):
    ids = [a["id"] for _, a in parsed(page_text).tags if a.get("id")]
    assert len(ids) == len(set(ids))


def test_headings_step_down_one_level_at_a_time(page_text):
    levels = [int(tag[1]) for tag, _ in parsed(page_text).tags if re.fullmatch(r"h[1-6]", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(b - a <= 1 for a, b in pairwise(levels))


def test_verdicts_come_first_and_a_simulated_panel_is_marked_before_them(page_text):
    assert (
        page_text.index("Simulated panel.</strong>")
        < page_text.index("Had people listened, you might print these 4 sentences")
        < page_text.index("Of 7 planned: 5 supported, 0 contradicted, 2 undecided.")
        < page_text.index('href="claims.html"')
        < page_text.index('<section id="questions"')
        < page_text.index('<details class="researcher">')
        < page_text.index('id="effects"')
    )
    shown = page_text[page_text.index('<section id="questions"') : page_text.index('id="researcher"')]
    assert shown.count('sentence">Simulated panel, not for print:') == 7  # six questions, one superlative


def test_same_findings_same_page(imported_findings):
    """Of a small page, figures and all; `verify` holds whole ones to it (test_audit.py)."""
    assert page.render(imported_findings) == page.render(imported_findings)


@pytest.mark.parametrize("word", list(style.VERDICT))
def test_verdict_colours_reach_the_contrast_of_wcag_aa(word):
    ink, ground, _ = style.VERDICT[word]
    assert contrast(ink, ground) >= 4.5
    assert contrast(style.SOFT, style.PAPER) >= 4.5
    assert contrast(style.ACCENT, style.PAPER) >= 4.5


def contrast(one: str, other: str) -> float:
    """WCAG 2.2 contrast ratio of two colours."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def luminance(colour: str) -> float:
    """WCAG 2.2 relative luminance."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.usefixtures("without_figures")
def test_what_may_be_printed_is_said_first_and_leads_to_its_card(findings):
    shown = page.render(findings)
    assert "You may print these 4 sentences" in shown
    links = re.findall(r'<li><a href="#([qs]-\d)">([^<]*)</a></li>', shown)
    assert len(links) == 4
    for anchor, sentence in links:
        card = shown[shown.index(f'id="{anchor}"') :]
        assert sentence in card[: card.index("</article>")]


@pytest.mark.usefixtures("without_figures")
def test_where_nothing_may_be_printed_the_page_says_so(findings):
    open_ones = tuple(q.model_copy(update={"word": "undecided"}) for q in findings.questions)
    shown = page.render(findings.model_copy(update={"questions": open_ones, "superlatives": ()}))
    assert "No sentence of this test may be printed" in shown


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"simulated": True, "cautions": ("simulated",)}, "Simulated panel."),
        ({"cautions": ("interim look",)}, "A look before the planned end"),
        ({"cautions": ("unplanned looks",)}, "looked at before the planned end without a rule"),
        ({"looks": Looks(finished=24, planned=24, at_end=True, earlier=(12,))}, "After an earlier look:"),
    ],
)
@pytest.mark.usefixtures("without_figures")
def test_what_to_beware_of_stands_before_what_may_be_printed(findings, changes, said):
    shown = page.render(findings.model_copy(update=changes))
    assert 'class="banner"' in shown
    assert shown.index(said) < shown.index('id="print-title"')


VERDICT_WORDS = re.compile(
    r"verdict|supported|contradicted|undecided|may be printed|may print|claims? sheet|for print",
    re.IGNORECASE,
)


@pytest.mark.parametrize("with_questions", [False, True])
@pytest.mark.usefixtures("without_figures")
def test_a_table_collected_elsewhere_gets_no_word_of_verdict(imported_findings, findings, with_questions):
    found = imported_findings
    if with_questions:
        update = {"imported": imported_findings.imported, "cautions": ("imported",), "superlatives": ()}
        found = findings.model_copy(update=update)
    for render in (page.render, claims_sheet.render):
        text = parsed(render(found))
        assert VERDICT_WORDS.findall(" ".join(text.words)) == []
        labels = " ".join(str(a.get("aria-label", "")) for _, a in text.tags)
        assert VERDICT_WORDS.findall(labels) == []


@pytest.mark.usefixtures("without_figures")
def test_a_planned_superlative_is_never_headed_not_planned(findings):
    text = page.render(findings)
    assert "Not planned: in ringing" in text
    assert "Not planned: in brightness" not in text
    assert "Not planned: in brightness" in page.render(findings.model_copy(update={"superlatives": ()}))


def test_all_but_the_questions_is_folded_under_one_heading(page_text):
    folded = page_text[page_text.index('<details class="researcher">') :]
    assert " open" not in re.findall(r"<details[^>]*>", page_text)[0]
    for anchor in ("effects", "strengths", "listeners", "method", "hashes"):
        assert f'id="{anchor}"' in folded


def test_no_tab_stop_leads_nowhere(page_text):
    for tag, attributes in parsed(page_text).tags:
        assert "tabindex" not in attributes, tag
        if tag == "a":
            assert attributes.get("href")
    ids = {a["id"] for _, a in parsed(page_text).tags if a.get("id")}
    targets = {a["href"][1:] for tag, a in parsed(page_text).tags if tag == "a" and a["href"].startswith("#")}
    assert targets <= ids


def test_a_sentence_and_its_footnote_are_selected_as_one(page_text):
    card = page_text[page_text.index('id="q-1"') :]
    whole = card[card.index('class="whole"') :]
    whole = whole[: whole.index("</div>")]
    assert 'class="sentence"' in whole
    assert 'class="footnote"' in whole
    assert "user-select: all" in page_text


PHONE_PX = 350  # what a figure has on a screen of 390


def test_the_smallest_letters_of_figures_and_page_have_eleven_pixels(page_text):
    for svg in re.findall(r"<svg.*?</svg>", page_text, re.DOTALL):
        width = float(re.search(r'viewBox="0 0 ([\d.]+)', svg)[1])
        for size in re.findall(r"font(?:-size)?: ?([\d.]+)px", svg):
            assert float(size) * PHONE_PX / width >= 11, (size, width, svg[:200])
    for size in re.findall(r"font-size: (\.\d+)rem", page.style_sheet()):
        assert float(size) * 16 >= 11


@pytest.mark.parametrize("colours", [style.LIGHT, style.DARK], ids=["light", "dark"])
def test_every_ink_reaches_the_contrast_of_wcag_aa_on_both_grounds(colours):
    for ground in ("paper", "panel"):
        for ink in ("ink", "soft", "accent", "second"):
            assert contrast(colours[ink], colours[ground]) >= 4.5, (ink, ground)
        for word in style.VERDICT:
            assert (
                contrast(colours[f"{word.replace(' ', '-')}-ink"], colours[ground]) >= 3
            )  # figures, WCAG 1.4.11
    for word in style.VERDICT:
        name = word.replace(" ", "-")
        assert contrast(colours[f"{name}-ink"], colours[f"{name}-ground"]) >= 4.5
    assert contrast(colours["banner-ink"], colours["banner-ground"]) >= 4.5
    assert style.LIGHT.keys() == style.DARK.keys()


def test_figures_follow_the_colours_of_the_page(page_text):
    for svg in re.findall(r"<svg.*?</svg>", page_text, re.DOTALL):
        inks = set(re.findall(r"(?:fill|stroke): (#[0-9a-f]{6})", svg)) - {"#ffffff", "#000000"}
        assert not inks, inks


def test_a_figure_is_saved_at_the_size_of_a_slide_with_the_same_bytes(findings):
    with figures.kept() as drawings:
        page.render(findings)
    names = [one.name for one in drawings]
    assert len(names) == len(set(names)) >= 10
    png = figures.slide(drawings[0], "png")
    assert struct.unpack(">II", png[16:24]) == (1920, 1080)
    assert png == figures.slide(drawings[0], "png")
    svg = figures.slide(drawings[0], "svg").decode()
    assert "var(--" not in svg
    noted = figures.slide(drawings[0], "svg", note="Simulated panel, not for print: ").decode()
    assert "Simulated panel, not for print" in noted
    assert "Simulated" not in svg
    width, height = map(float, re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', svg).groups())
    assert width / height == pytest.approx(16 / 9, rel=1e-3)


def test_every_figure_of_a_page_is_saved_twice(tmp_path, imported_findings):
    with figures.kept() as drawings:
        page.render(imported_findings)
    made = report.save_figures(tmp_path / "new" / "slides", drawings)
    assert len(made) == 2 * len(drawings) > 0
    assert all(path.stat().st_size > 1000 for path in made)
    ElementTree.fromstring(made[0].read_text())


HOSTILE = "</td><script>alert(1)</script> \u202eeduf\x1b[2J & <img src=x onerror=y> =1+1 " + "w" * 400


@pytest.mark.usefixtures("without_figures")
def test_comments_and_room_stand_on_the_page_and_nothing_of_them_is_obeyed(simulated_findings) -> None:
    said = (
        Remark(listener="L01", about="brightness", text=HOSTILE),
        Remark(listener="L02", about="at the end", text="B rings longer"),
    )
    rooms = (RoomNoted(room="background noise 24 dB(A); remark: <b>door</b>", n_begun=2),)
    text = page.render(simulated_findings.model_copy(update={"remarks": said, "rooms": rooms}))
    assert not {"script", "img", "b"} & {tag for tag, _ in parsed(text).tags}
    assert "\u202e" not in text
    assert "\x1b" not in text
    words = " ".join(parsed(text).words)
    assert "<script>alert(1)</script> \\u202eeduf\\x1b[2J" in words
    assert "B rings longer" in words
    assert "remark: <b>door</b>" in words


@pytest.mark.usefixtures("without_figures")
def test_a_panel_that_wrote_much_is_cut_short_and_one_that_wrote_nothing_has_no_heading(
    simulated_findings,
) -> None:
    many = (Remark(listener="L01", about="at the end", text="thank you"),) * 300
    text = page.render(simulated_findings.model_copy(update={"remarks": many}))
    assert text.count("thank you") == 200
    assert "the first 200; 100 more in the export" in text
    assert 'id="said"' not in page.render(simulated_findings)
    assert 'id="room"' not in page.render(simulated_findings)


def test_the_first_lines_name_every_condition_that_a_question_compares(findings) -> None:
    """Strengths exist for what was compared with one another; a mean over pairs names more."""
    one = findings.questions[0]
    part = ContrastPart(
        more="g/bar", more_label="dome G (bar)", than="g/free", than_label="dome G (free)",
        is_turned=False, n=4, n_more=3, share=0.75,
    )  # fmt: skip
    changed = one.model_copy(update={"parts": (part,)})
    found = findings.model_copy(update={"questions": (changed, *findings.questions[1:])})
    assert "dome G (bar) and dome G (free)." in top.of(found, [], []).compared
