"""One word for one thing in texts, files and code: words that were given up do not come back."""

import ast
import re
from pathlib import Path

import pytest
from pydantic import BaseModel

from listening.records.dealt import imported, plan
from listening.records.forms import reference
from listening.records.found import findings, findings_explained
from listening.records.protocols import protocol

ROOT = Path(__file__).resolve().parents[1]
READ = [ROOT / "README.md", *(ROOT / "protocols").glob("*.toml")]
READ += [p for p in (ROOT / "docs").rglob("*.md") if not {"build", "made", "generated"} & set(p.parts)]
READ += [p for p in (ROOT / "listening").rglob("*") if p.suffix in (".py", ".toml", ".jinja", ".md", ".sql")]
READ = sorted(p for p in READ if p.name not in ("changes.md", "glossary.md", "commands.md", "metrics.md"))
MADE = {
    "page.py",
    "top.py",
    "page_clips.py",
    "page.html.jinja",
    "booths.py",
}  # links within a page; the first form
GIVEN_UP = {  # word: today's, and the files where it may stand
    r"\b[Ss]trokes?\b(?!:)(?!-)(?!=)": ("strike", {"claimed_ratio.py", "style.py"}),
    r"\b[Ll]odg\w+": (
        "deposit (with a third party), publish (to a server)",
        {"earlier_words.py", "walked_record.py", "frozen.py", "findings_study.py", "record.py"}
        | {"published.py", "booths.py"},
    ),
    r"\bfactor levels?\b|\b[Ll]evels? of (a|the|that|its) factors?\b": ("values of a factor", set()),
    r"\b[Ll]evels that `\*`|\b[Ee]ach level once\b": ("values of a factor", set()),
    r"\b[Cc]onfidence level\b|\blevel of confidence\b": ("coverage", set()),
    r"\b[Pp]lanned factor\b|\bclaimed factor\b|\bfactor of \d": ("ratio", set()),
    r"\b[Tt]wo-way (answers|model)|\| two-way \|": ("binary", set()),
    r"\b[Tt]hree-way\b": ("three-category", set()),
    r"\banchor pairs?\b": ("examples", set()),
    r"\b[Aa]nchors?\b(?!_)": (
        "familiarisation examples, unless of ITU-R BS.1534",
        MADE | {"earlier_words.py", "roles.py", "whole_set.py", "difference_grades.py", "grade_tables.py"},
    ),
    r"\bplanned bound\b|\bbound planned\b|\b[Ee]quivalence bounds?\b|\{bound\}": (
        "equivalence margin",
        set(),
    ),
    r"\bthings are told apart\b|\bTold apart\b": ("discriminated", set()),
    r"\bshare heard\b|\bheard share\b|--share-heard": ("share not guessed", {"size_counts.py"}),
    r"\b[Uu]ndecided (answer|trial|listener)s?\b|\btied verdict\b": ("a listener's draw is tied", set()),
    r"\b(two|three|several|both) units of\b|\bseveral units\b": ("specimens", set()),
    r"\bquestions? (is|are) read by\b|\bquestions? that listeners read\b": ("wording", set()),
}
BS_1534 = re.compile(r"(low|mid|low and mid|hidden|two) anchors?|BS\.1534", re.I)
ROLES = re.compile(r"^(low|mid)_anchor = ", re.M)  # a protocol that has them
IN_NAMES = re.compile(r"strokes?(_|$)|lodg|told_apart|two_way|three_way|factor_level|anchor_pair|share_heard")
"""Parts of names of code, keys of protocols and names in JSON that were given up."""
NAMES_KEPT = {"lodged_at", "lodged_with", "lodgings", "told_apart"}  # read from files of earlier versions


def found(text: str, name: str) -> list[str]:
    """Words given up that a text holds; an anchor may stand in a line about BS.1534-3's."""
    made = []
    for word, (_, where) in GIVEN_UP.items():
        if name in where or (name.endswith(".py") and "nchor" in word and "pair" not in word):
            continue  # in code an anchor is that of ITU-R BS.1534, or a place in a page
        for match in re.finditer(word, text):
            line = text[text.rfind("\n", 0, match.start()) + 1 : text.find("\n", match.end())]
            if not ("nchor" in match[0] and (BS_1534.search(line) or ROLES.search(text))):
                made.append(match[0])
    return made


@pytest.mark.parametrize("page", READ, ids=lambda p: str(p.relative_to(ROOT)))
def test_no_word_that_was_given_up_is_read(page: Path) -> None:
    assert found(page.read_text(), page.name) == []


@pytest.mark.parametrize(
    "text",
    [
        "Told apart: 3 of 8",
        "three strokes a bell",
        "lodged with a notary",
        "the levels of a factor",
        "a confidence level of 95 %",
        "the planned factor of 1.4",
        "two-way answers",
        "a three-way model",
        "an anchor for each word",
        "within the equivalence bound",
        "the share heard",
        "undecided answers",
        "several units of one design",
    ],
)
def test_a_word_given_up_is_seen(text: str) -> None:
    assert found(f"before\n{text}\nafter", "x.md") != []


def test_the_anchors_of_a_standard_are_let_through() -> None:
    assert found("the mid anchor of ITU-R BS.1534-3\n", "x.md") == []


def names_of(tree: ast.AST) -> set[str]:
    """Every name that a file of code gives to something."""
    made = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            made.add(node.name)
        elif isinstance(node, ast.arg):
            made.add(node.arg)
        elif isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store):
            made.add(node.id)
    return made


@pytest.mark.parametrize("layer", ["listening", "stats"])
def test_no_name_of_the_code_has_a_word_that_was_given_up(layer: str) -> None:
    wrong = {
        f"{path.relative_to(ROOT)}: {name}"
        for path in (ROOT / layer).rglob("*.py")
        for name in names_of(ast.parse(path.read_text()))
        if IN_NAMES.search(name.lower())
    }
    assert wrong == set()


def _fields(form: type[BaseModel], seen: set[type[BaseModel]]) -> set[str]:
    """Names in JSON or TOML of a form and of the forms in it."""
    if form in seen:
        return set()
    seen.add(form)
    made = set(form.model_fields)
    for field in form.model_fields.values():
        for part in re.findall(r"[\w.]+", str(field.annotation)):
            inner = BY_NAME.get(part.split(".")[-1])
            made |= _fields(inner, seen) if inner else set()
    return made


def _all_forms(form: type[BaseModel]) -> list[type[BaseModel]]:
    return [form, *(inner for sub in form.__subclasses__() for inner in _all_forms(sub))]


BY_NAME = {form.__name__: form for form in _all_forms(BaseModel) if form.__module__.startswith("listening.")}


@pytest.mark.parametrize(
    "form",
    [findings.Findings, protocol.Protocol, plan.Plan, imported.About, findings_explained.HeardMeasured],
    ids=lambda form: form.__name__,
)
def test_no_name_in_a_file_has_a_word_that_was_given_up(form: type[BaseModel]) -> None:
    fields = _fields(form, set())
    assert {name for name in fields - NAMES_KEPT if IN_NAMES.search(name)} == set()
    assert len(fields) > 5


def test_no_key_of_a_protocol_speaks_of_a_bound_or_a_unit_of_things() -> None:
    keys = {name for _, form in reference.sections() for name in form.model_fields}
    assert {name for name in keys if re.search(r"bound|stroke|lodg|^question$|^anchor$", name)} == set()


def test_a_name_given_up_is_seen() -> None:
    assert IN_NAMES.search("n_strokes")
    assert IN_NAMES.search("told_apart")
    assert not IN_NAMES.search("strikes")
