"""Every file that a protocol or a page of the documentation names is there."""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
TREES = ("docs", "protocols", "listening", "stats", "tests", "bench", "stimuli_demo")
PAGES = sorted(
    [ROOT / "README.md", ROOT / "DEVELOPERS.md", *(ROOT / "protocols").glob("*.toml")]
    + [p for p in (ROOT / "docs").rglob("*.md") if "build" not in p.parts and "made" not in p.parts]
)
NAMED = re.compile(rf"(?<![\w./{{<*-])((?:{'|'.join(TREES)})/[\w./-]+\.(?:py|toml|md|csv|flac|png|json))\b")
BESIDE = re.compile(r"(?<![\w./{<*-])(\w+\.toml)\b")
A_STUDYS = {
    "protocol.toml",
    "about.toml",
    "my.toml",
    "wheel.toml",
    "pyproject.toml",
}  # of a reader's own folder
MADE = {"docs/reference/commands.md", "docs/reference/metrics.md"}  # by `make docs`


def not_there(text: str, *, is_protocol: bool) -> list[str]:
    """The files that a text names and that are not there; a protocol names others beside it."""
    named = [name for name in NAMED.findall(text) if name not in MADE and not (ROOT / name).exists()]
    if is_protocol:
        beside = [name for name in BESIDE.findall(text) if name not in A_STUDYS]
        named += [name for name in beside if not (ROOT / "protocols" / name).exists()]
    return named


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.name)
def test_what_is_named_is_there(page: Path) -> None:
    assert not_there(page.read_text(), is_protocol=page.suffix == ".toml") == []


def test_a_file_that_is_not_there_is_seen() -> None:
    assert not_there("see docs/nowhere.md", is_protocol=False) == ["docs/nowhere.md"]
    assert not_there("wait for bells_supports.toml", is_protocol=True) == ["bells_supports.toml"]
