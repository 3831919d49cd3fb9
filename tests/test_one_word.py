"""One word for one thing in what people read: words that were given up do not come back."""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
READ = [ROOT / "README.md", *(ROOT / "protocols").glob("*.toml")]
READ += [p for p in (ROOT / "docs").rglob("*.md") if not {"build", "made", "generated"} & set(p.parts)]
READ += [p for p in (ROOT / "listening").rglob("*") if p.suffix in (".py", ".toml", ".jinja", ".md")]
READ = sorted(p for p in READ if p.name not in ("changes.md", "glossary.md"))
GIVEN_UP = {  # word: today's, and where it may stand
    r"\b[Ss]trokes?\b(?!:)(?!-)(?!=)": ("strike", {"claimed_ratio.py"}),
    r"\b[Ll]odg\w+": (
        "deposit, publish",
        {"earlier_words.py", "walked_record.py", "frozen.py", "findings_study.py"},
    ),
    r"\bfactor levels?\b": ("values of a factor", set()),
    r"\b[Tt]wo-way (answers|model)": ("binary", set()),
    r"\b[Tt]hree-way\b": ("three-category", set()),
    r"\banchor pair\b": ("examples", set()),
    r"\bplanned bound\b|\bbound planned\b": ("equivalence margin", set()),
    r"\bthings are told apart\b|\bTold apart\b": ("discriminated", set()),
}
ALSO = {
    "record.py",
    "publishing.py",
    "tables.py",
    "booths.py",
    "style.py",
}  # columns of the store, styles of drawings


def found(text: str, name: str) -> list[str]:
    """Words given up that a text holds."""
    words = {word: where for word, (_, where) in GIVEN_UP.items() if name not in where | ALSO}
    return [match[0] for word in words for match in re.finditer(word, text)]


@pytest.mark.parametrize("page", READ, ids=lambda p: str(p.relative_to(ROOT)))
def test_no_word_that_was_given_up_is_read(page: Path) -> None:
    assert found(page.read_text(), page.name) == []


def test_a_word_given_up_is_seen() -> None:
    assert found("Told apart: 3 strokes a bell", "x.md") == ["strokes", "Told apart"]
