"""Every word that a protocol, a table or a page shows has its entry in the glossary."""

import re
import runpy
from pathlib import Path

from listening.commands import desk
from listening.records.forms import reference
from listening.records.kinds import metric_register
from listening.report.page import page
from listening.session.showing import words

ROOT = Path(__file__).resolve().parents[1]
MADE = runpy.run_path(str(ROOT / "docs" / "make_glossary.py"))
TEXT = (ROOT / "docs" / "glossary.md").read_text()
TERMS = [term.lower() for term in re.findall(r"(?m)^([^:|#\n ][^\n]*)\n: ", TEXT)]
EVERYDAY = (
    "a all and as at before beside do each for found in it may not of on one or the this to use with what "
    "you analysis conditions planned printed out leave every sentence listened people versions researcher"
)
SCREENS = (
    "you your about two set will be asked the end does work taking part goodbye enough now leave go "
    "off that was today over paused page sound"
)
PLAIN = set(EVERYDAY.split()) | set(SCREENS.split())


def _forms(word: str) -> set[str]:
    """The word, and what it may be the plural of."""
    return {word, word.removesuffix("s"), word.removesuffix("es"), re.sub("ies$", "y", word)}


def listed(section: str) -> set[str]:
    """Words of one of the tables."""
    part = TEXT.partition(f"\n## {section}\n")[2].partition("\n## ")[0]
    return set(re.findall(r"(?m)^\| `([^`]+)` \|", part))


def without_entry(heading: str) -> list[str]:
    """Words of a heading that stand in no term of the glossary, in singular or plural."""
    known = {word for term in TERMS for word in re.findall(r"[a-z]+", term)}
    words = [word for word in re.findall(r"[a-z]+", heading.lower()) if word not in PLAIN]
    return [word for word in words if not known & _forms(word)]


def test_the_tables_are_what_the_forms_and_the_register_say() -> None:
    assert MADE["page"]() == TEXT, "run: python docs/make_glossary.py"


def test_every_key_of_a_protocol_has_an_entry() -> None:
    keys = {name for _, form in reference.sections() for name in form.model_fields}
    assert keys - listed("Keys of a protocol") == set()


def test_every_metric_has_an_entry() -> None:
    assert listed("Metrics") == {metric.key for metric in metric_register.ALL}


def test_every_column_has_an_entry() -> None:
    assert set(MADE["columns"]()) == listed("Columns of exported tables")


def test_every_heading_of_the_page_has_an_entry() -> None:
    template = (ROOT / "listening" / "report" / "page" / "page.html.jinja").read_text()
    headings = re.findall(r"<h[23][^>]*>([^<{]+)", template) + [name for _, name in page.CONTENTS]
    assert {heading: left for heading in headings if (left := without_entry(heading))} == {}


def test_every_heading_of_a_screen_has_an_entry() -> None:
    table = words.words("en").table
    headings = [re.sub(r"\{\w+\}", "", text) for name, text in table.items() if name.endswith("_heading")]
    assert len(headings) > 15
    assert {heading: left for heading in headings if (left := without_entry(heading))} == {}


def test_every_column_of_the_desk_has_an_entry() -> None:
    assert {heading: left for heading in desk.HEAD if (left := without_entry(heading))} == {}


def test_a_heading_without_an_entry_is_seen() -> None:
    assert without_entry("Strengths of all widgets") == ["widgets"]


def test_a_term_stands_once() -> None:
    assert len(TERMS) == len(set(TERMS))
