"""The pictures in README and docs show the program as it is now: `make pictures` makes them."""

import importlib.util
import re
import sys
from pathlib import Path
from types import ModuleType

DOCS = Path(__file__).resolve().parent.parent / "docs"


def maker() -> ModuleType:
    """docs/make_pictures.py as a module."""
    spec = importlib.util.spec_from_file_location("make_pictures", DOCS / "make_pictures.py")
    if spec is None or spec.loader is None:
        raise LookupError("docs/make_pictures.py is gone")
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


def test_the_picture_of_a_trial_is_the_screen_of_today() -> None:
    kept = (DOCS / "pictures" / "trial.svg").read_text(encoding="utf-8")
    assert maker().trial() == kept, "the screen has changed: make pictures"


def test_a_picture_reaches_for_nothing_outside() -> None:
    kept = (DOCS / "pictures" / "trial.svg").read_text(encoding="utf-8")
    addresses = set(re.findall(r"https?://[^\s\"')]+", kept)) - {"http://www.w3.org/2000/svg"}
    assert addresses == set()


def test_the_picture_of_the_page_is_of_the_page_of_today() -> None:
    made_from = (DOCS / "pictures" / "report.made-from").read_text(encoding="utf-8").strip()
    assert made_from == maker().page_digest(), "the page has changed: make demo, then make pictures"
