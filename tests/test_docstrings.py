"""Whoever calls a public function of `stats` or of the front door reads what goes in and what it raises."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
FRONT_DOOR = [ROOT / "listening" / name for name in ("__init__.py", "notebook.py")]
FILES = sorted(path for path in [*(ROOT / "stats").rglob("*.py"), *FRONT_DOOR] if "kernels" not in path.stem)
MANY = 3  # parameters; with fewer the first line says what they are


def _public(tree: ast.Module) -> Iterator[ast.FunctionDef]:
    """Functions, and methods of public classes."""
    for node in tree.body:
        inside = node.body if isinstance(node, ast.ClassDef) and not node.name.startswith("_") else []
        for one in (node, *inside):
            if isinstance(one, ast.FunctionDef) and not one.name.startswith("_"):
                yield one


def _unsaid(function: ast.FunctionDef) -> list[str]:
    """Parameters that the docstring does not name, and `raises` where it does not tell what it raises."""
    text = ast.get_docstring(function) or ""
    given = [a.arg for a in (*function.args.args, *function.args.kwonlyargs) if a.arg not in ("self", "cls")]
    unsaid = [name for name in given if not re.search(rf"\b{name}\b", text)] if len(given) >= MANY else []
    raising = any(isinstance(node, ast.Raise) and node.exc is not None for node in ast.walk(function))
    return [*unsaid, *(["raises"] if raising and "raise" not in text.lower() else [])]


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(ROOT)))
def test_public_functions_say_what_goes_in_and_what_they_raise(path: Path) -> None:
    unsaid = {f"{f.name}, line {f.lineno}": _unsaid(f) for f in _public(ast.parse(path.read_text()))}
    assert {name: missing for name, missing in unsaid.items() if missing} == {}


def test_the_check_sees_what_is_unsaid() -> None:
    source = 'def f(one, two, three):\n    "Of one and two."\n    if one:\n        raise ValueError(two)\n'
    (function,) = _public(ast.parse(source))
    assert _unsaid(function) == ["three", "raises"]
