"""The pictures in README and docs show the program as it is now: `make pictures` makes them."""

import importlib.util
import re
import sys
from pathlib import Path
from types import ModuleType

import pytest

DOCS = Path(__file__).resolve().parent.parent / "docs"
PICTURES = DOCS / "pictures"
SCREENS = ["trial", "german", "training", "multiple_stimulus", "triple_stimulus", "desk", "in_lines"]


def maker() -> ModuleType:
    """docs/make_pictures.py as a module."""
    spec = importlib.util.spec_from_file_location("make_pictures", DOCS / "make_pictures.py")
    if spec is None or spec.loader is None:
        raise LookupError("docs/make_pictures.py is gone")
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("name", SCREENS)
def test_the_picture_of_a_screen_is_the_screen_of_today(name: str) -> None:
    kept = (PICTURES / f"{name}.svg").read_text(encoding="utf-8")
    assert maker().SCREENS[name]() == kept, "the screen has changed: make pictures"


def test_every_screen_that_is_drawn_is_held_against_today() -> None:
    assert list(maker().SCREENS) == SCREENS


def test_a_picture_reaches_for_nothing_outside() -> None:
    for picture in PICTURES.glob("*.svg"):
        addresses = set(re.findall(r"https?://[^\s\"')]+", picture.read_text(encoding="utf-8")))
        assert addresses == {"http://www.w3.org/2000/svg"}, picture.name


def test_the_picture_of_the_page_is_of_the_page_of_today() -> None:
    made_from = (PICTURES / "report.made-from").read_text(encoding="utf-8").strip()
    assert made_from == maker().page_digest(), "the page has changed: make demo, then make pictures"
