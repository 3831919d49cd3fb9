"""The page: self-contained, every number from the findings, readable by everybody."""

import json
import re
from html.parser import HTMLParser
from itertools import pairwise

import pytest

from listening.report import page, style

NOT_RESULTS = {100.0}  # "in 100": the unit that shares are printed in
NUMBER = re.compile(r"(?<![\w.,/-])[−-]?\d+(?:\.\d+)?(?![\w/-])")


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


def numbers_in(thing: object) -> set[float]:
    """Every number in the findings, in lists their lengths too, and numbers inside texts."""
    if isinstance(thing, bool) or thing is None:
        return set()
    if isinstance(thing, int | float):
        return {float(thing)}
    if isinstance(thing, str):
        return {float(n.replace("−", "-")) for n in NUMBER.findall(thing)}
    values = list(thing.values()) if isinstance(thing, dict) else list(thing)
    return {float(len(values))}.union(*map(numbers_in, values))


def is_rounded_from(token: str, values: set[float]) -> bool:
    number = float(token.replace("−", "-"))
    decimals = len(token.partition(".")[2])
    half = 0.5 * 10.0**-decimals + 1e-9
    return any(abs(scale * v - number) <= half for v in values for scale in (1.0, 100.0))


@pytest.fixture(scope="module")
def text(simulated_findings) -> str:
    return page.render(simulated_findings)


def test_every_number_on_the_page_exists_in_the_findings(text, simulated_findings):
    values = numbers_in(json.loads(simulated_findings.to_json())) | NOT_RESULTS
    words = " ".join(parsed(text).words)
    strange = [token for token in NUMBER.findall(words) if not is_rounded_from(token, values)]
    assert strange == []


def test_a_number_that_is_not_in_the_findings_is_seen(text, simulated_findings):
    values = numbers_in(json.loads(simulated_findings.to_json())) | NOT_RESULTS
    broken, changed = re.subn(
        r"in an estimated \d+ of 100 choices", "in an estimated 4711.37 of 100 choices", text, count=1
    )
    assert changed == 1
    words = " ".join(parsed(broken).words)
    assert [n for n in NUMBER.findall(words) if not is_rounded_from(n, values)] == ["4711.37"]


def test_the_page_asks_nothing_of_the_network(text):
    for tag, attributes in parsed(text).tags:
        assert tag not in ("script", "link", "iframe", "object") or attributes.get("href") == "data:,"
        for name in ("src", "href", "xlink:href"):
            target = attributes.get(name)
            assert target is None or target.startswith(("#", "data:")), (tag, target)
    assert "@import" not in text
    assert "url(http" not in text


def test_every_figure_has_a_name_and_every_table_a_caption(text):
    found = parsed(text)
    pictures = [a for tag, a in found.tags if tag == "svg"]
    assert len(pictures) >= 10
    assert all(a.get("role") == "img" and a.get("aria-label") for a in pictures)
    tags = [tag for tag, _ in found.tags]
    assert tags.count("table") == tags.count("caption") > 8


def test_ids_are_unique(text):
    ids = [a["id"] for _, a in parsed(text).tags if a.get("id")]
    assert len(ids) == len(set(ids))


def test_headings_step_down_one_level_at_a_time(text):
    levels = [int(tag[1]) for tag, _ in parsed(text).tags if re.fullmatch(r"h[1-6]", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(b - a <= 1 for a, b in pairwise(levels))


def test_verdicts_come_first_and_a_simulated_panel_is_marked_before_them(text):
    assert text.index("Simulated panel.") < text.index('<section id="verdicts">') < text.index('id="effects"')
    assert text.count("Simulated panel, not for print:") == 7  # six questions, one superlative


def test_same_findings_same_page(text, simulated_findings):
    assert page.render(simulated_findings) == text


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
