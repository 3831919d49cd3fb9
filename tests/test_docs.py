"""The documentation speaks of commands, files and pages that exist."""

import argparse
import re
import shlex
import tomllib
from pathlib import Path

import pytest

from listening import cli
from listening.records.kinds import tasks
from listening.records.protocols import protocol
from tests import doc_examples, doc_things

ROOT = Path(__file__).resolve().parent.parent
PAGES = sorted(
    p
    for p in (ROOT / "docs").rglob("*.md")
    if not {"generated", "made", "build"} & set(p.parts) and p.name not in ("commands.md", "metrics.md")
)
CONSOLE = re.compile(r"```console\n(.*?)```", re.S)


def lines() -> list[tuple[str, str]]:
    pages = [*PAGES, ROOT / "README.md"]
    found = [
        (p.name, line) for p in pages for code in CONSOLE.findall(p.read_text()) for line in code.splitlines()
    ]
    return [(name, line) for name, line in found if line.startswith("listening ")]


@pytest.mark.parametrize(("page", "line"), lines(), ids=lambda v: v.replace(" ", "_"))
def test_a_command_in_the_documentation_is_taken_by_its_parser(page: str, line: str) -> None:
    words = shlex.split(re.split(" >>? ", line)[0], comments=True)
    assert words[1] in cli.COMMANDS, f"{page}: {line}"
    parser = argparse.ArgumentParser(exit_on_error=False)
    cli.module(words[1]).arguments(parser)
    parser.parse_args(words[2:])


@pytest.mark.parametrize("page", [*PAGES, ROOT / "README.md"], ids=lambda p: p.name)
def test_a_page_says_in_its_source_where_its_examples_are_run(page: Path) -> None:
    """tests/doc_examples.py says how; tests/test_doc_examples.py runs them."""
    if page.name == "replications.md":
        return  # its commands run in the project's own folder: tests/test_replications.py
    for one in doc_examples.sessions(page.read_text(), inline=page.name == "README.md"):
        for held in one.holds:
            state = held.removeprefix("bells ")
            assert held in {"nothing", *doc_things.THINGS} or state in doc_examples.STATES, held
        for kind, line in one.steps:
            assert line.says.get("not run") in {None, *doc_examples.NEEDS}, line.text
            assert kind == "line" or line.text.startswith("listening ") or line.text in doc_things.ACTS


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("```console\nlistening check bells\n```\n", "says no <!-- folder"),
        ("<!-- folder: nothing -->\n<!-- line: listening check bells | slow: x -->\n", "does not print"),
    ],
    ids=["no folder", "a mark of no line"],
)
def test_a_page_without_the_marks_is_seen(text: str, said: str) -> None:
    with pytest.raises(LookupError, match=said):
        doc_examples.sessions(text)


MADE = {"reference/commands", "reference/metrics", "notebooks/made/bells"}  # written by `make docs`


def test_every_page_stands_in_the_contents() -> None:
    index = (ROOT / "docs" / "index.md").read_text()
    listed = {
        line.strip()
        for block in re.findall(r"```\{toctree\}(.*?)```", index, re.S)
        for line in block.splitlines()
    }
    pages = {str(p.relative_to(ROOT / "docs").with_suffix("")) for p in PAGES} - {"index"}
    assert pages - listed == set()
    assert {p for p in listed if "/" in p} - pages - MADE == set()


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.name)
def test_links_between_pages_lead_somewhere(page: Path) -> None:
    for target in re.findall(r"\{doc\}`([^`]+)`", page.read_text()):
        assert (page.parent / f"{target}.md").exists() or target.split("/")[-1] == "commands", (
            f"{page.name}: {target}"
        )


def test_the_check_sees_a_command_that_is_not_there() -> None:
    with pytest.raises(AssertionError):
        test_a_command_in_the_documentation_is_taken_by_its_parser("made up", "listening whistle bells")


TASK_PAGES = sorted((ROOT / "docs" / "tasks").glob("*.md"))


@pytest.mark.parametrize("page", TASK_PAGES, ids=lambda p: p.stem)
def test_what_a_page_on_a_way_of_asking_writes_into_the_protocol_is_taken(page: Path) -> None:
    [text] = re.findall(r"```toml\n(.*?)```", page.read_text(), re.S)
    written = tomllib.loads(text)
    [attribute] = [protocol.Attribute.model_validate(a) for a in written["attributes"]]
    assert f'`task = "{attribute.task}"`' in page.read_text()
    for block in written["blocks"]:
        assert protocol.Block.model_validate(block).attribute == attribute.name
    for control in written.get("controls", ()):
        assert protocol.Control.model_validate(control).attribute == attribute.name


def test_every_way_of_asking_has_its_page() -> None:
    asked = {re.findall(r'`task = "(.*?)"`', page.read_text())[0] for page in TASK_PAGES}
    assert asked == set(tasks.TASKS)
