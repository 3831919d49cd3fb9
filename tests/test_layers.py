"""Imports go one way: the table of DEVELOPERS.md, held by this test, deferred imports included."""

import ast
import re
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent

# layer: what it may import besides itself, listening.errors and the standard library
TABLE = {
    "stats": "numpy scipy statsmodels pandas numba joblib threadpoolctl distributed",
    "records": "pydantic cryptography",
    "store": "records sqlalchemy alembic",
    "audio": "numpy scipy soundfile sounddevice soxr",
    "metrics": "audio numpy scipy numba threadpoolctl",
    "intake": "records audio metrics pydantic",
    "stimuli": "records audio metrics numpy scipy joblib",
    "design": "records (with the key) store numpy",
    "planning": "design analysis stats records numpy",
    "session": "records (not the key) store audio metrics.level",
    "tui": "session textual",
    "simulate": "records (with the key) session numpy",
    "analysis": "records (with the key) store stats numpy pandas",
    "report": "records (not the key) numpy matplotlib jinja2",
    "steps": "records (with the key) store audio metrics intake stimuli design planning analysis report "
    "numpy pandas joblib",
    "console": "records (not the key) store audio rich",
}
KEYED = {layer for layer, row in TABLE.items() if "(with the key)" in row}
ALLOWED = {layer: set(re.sub(r"\((with|not) the key\)", "", row).split()) for layer, row in TABLE.items()}
FREE = {"listening.errors", "listening"}  # `listening` itself holds the version alone


def _layer(module: str) -> str:
    parts = module.split(".")
    if parts[0] == "stats":
        return "stats"
    return parts[1] if parts[0] == "listening" and len(parts) > 1 else parts[0]


def _imports(source: str) -> list[str]:
    """Every module that a file imports, wherever in it, `from a import b` as a.b."""
    names: list[str] = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            names += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "relative import"
            names += [f"{node.module}.{alias.name}" for alias in node.names]
        elif isinstance(node, ast.Call) and getattr(node.func, "attr", "") in {"import_module", "__import__"}:
            names += [a.value for a in node.args[:1] if isinstance(a, ast.Constant)]
    return names


def _faults(layer: str, source: str) -> list[str]:
    return [name for name in _imports(source) if not _may(layer, name)]


def _may(layer: str, name: str) -> bool:
    top = name.split(".")[0]
    if top in sys.stdlib_module_names or name in FREE or name.startswith("listening.errors"):
        return True
    if name in {"listening.__version__"}:
        return True
    target = _layer(name)
    if name.startswith("listening.records.key") or name == "listening.records.key":
        return layer in KEYED or layer == "records"
    if target == layer:
        return True
    if target in ALLOWED[layer]:
        return True
    dotted = ".".join(name.split(".")[1:3])
    return top == "listening" and any(dotted == allowed for allowed in ALLOWED[layer])


def _files() -> list[tuple[str, Path]]:
    inside = [
        (path.relative_to(ROOT / "listening").parts[0], path)
        for path in (ROOT / "listening").glob("*/**/*.py")
    ]
    return [("stats", p) for p in (ROOT / "stats").rglob("*.py")] + [f for f in inside if f[0] != "commands"]


@pytest.mark.parametrize(
    ("layer", "path"), _files(), ids=lambda v: str(v.relative_to(ROOT)) if isinstance(v, Path) else ""
)
def test_a_file_imports_only_what_its_layer_may(layer: str, path: Path) -> None:
    assert layer in TABLE, f"{path}: a folder without a row in the table"
    assert _faults(layer, path.read_text()) == []


@pytest.mark.parametrize(
    ("layer", "source"),
    [
        ("stats", "from listening.audio import sound"),
        ("stats", "def f():\n    import soundfile"),
        ("session", "from listening.records import key"),
        ("session", "from listening.metrics import sharpness"),
        ("tui", "def late():\n    from listening.records.key import Key"),
        ("report", "from listening.records.key import Key"),
        ("report", "import listening.analysis.decide"),
        ("audio", "import importlib\nimportlib.import_module('stats.deciding.verdict')"),
    ],
)
def test_the_check_sees_a_seeded_violation(layer: str, source: str) -> None:
    assert _faults(layer, source)


def test_a_relative_import_is_refused() -> None:
    with pytest.raises(AssertionError, match="relative"):
        _imports("from . import sound")


def test_developers_page_prints_the_same_table() -> None:
    page = (ROOT / "DEVELOPERS.md").read_text()
    for layer, row in TABLE.items():
        assert f"| {layer} | {', '.join(_words(row))} |" in page, layer


def _words(row: str) -> list[str]:
    return re.findall(r"\S+(?: \((?:with|not) the key\))?", row)
