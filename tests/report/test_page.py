"""The page: self-contained, readable by everybody. Numbers: test_numbers.py; figures: test_figures.py."""

import re
from html.parser import HTMLParser
from itertools import pairwise

import pytest

from listening.report.page import page, style


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


def test_the_page_asks_nothing_of_the_network(page_text):
    for tag, attributes in parsed(page_text).tags:
        assert tag not in ("script", "link", "iframe", "object") or attributes.get("href") == "data:,"
        for name in ("src", "href", "xlink:href"):
            target = attributes.get(name)
            assert target is None or target.startswith(("#", "data:")), (tag, target)
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
        page_text.index("Simulated panel.")
        < page_text.index('<section id="verdicts">')
        < page_text.index('id="effects"')
    )
    assert page_text.count("Simulated panel, not for print:") == 7  # six questions, one superlative


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
