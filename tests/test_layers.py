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
    "planning": "design analysis simulate stats records numpy",
    "session": "records (not the key) store audio metrics.level",
    "tui": "session textual",
    "simulate": "records (with the key) session numpy",
    "analysis": "records (with the key) store stats numpy pandas",
    "report": "records (not the key) numpy matplotlib jinja2",
    "steps": "records (with the key) store audio metrics intake stimuli design planning simulate analysis "
    "report numpy pandas joblib",
    "console": "records (not the key) store audio rich",
    "commands": "stats records (with the key) store audio metrics intake stimuli design planning session tui "
    "simulate analysis report steps console cli numpy pandas pydantic rich shtab "
    "weasyprint",
    "cli": "commands console",
    "start": "cli",
    "__main__": "start",
    "notebook": "records (not the key) store simulate analysis steps console pandas",
    "__init__": "notebook steps",
    "compile_ahead": "audio metrics stats numpy",
    "errors": "stats",
}
KEYED = {layer for layer, row in TABLE.items() if "(with the key)" in row}
ALLOWED = {layer: set(re.sub(r"\((with|not) the key\)", "", row).split()) for layer, row in TABLE.items()}
PACKAGES = ("listening", "stats")
FREE = {"listening.errors", "listening"}  # `listening` itself holds the version alone


def _layer(module: str) -> str:
    parts = module.split(".")
    if parts[0] == "stats":
        return "stats"
    return parts[1] if parts[0] == "listening" and len(parts) > 1 else parts[0]


def _imports(source: str) -> list[str]:
    """Every module that a file imports or reaches through one, wherever in it; `from a import b` as a.b."""
    names: list[str] = []
    known: dict[str, str] = {}  # what a name in the file stands for
    tree = ast.parse(source)
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names += [alias.name for alias in node.names]
            known |= {
                a.asname or a.name.split(".")[0]: a.name if a.asname else a.name.split(".")[0]
                for a in node.names
            }
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "relative import"
            names += [f"{node.module}.{alias.name}" for alias in node.names]
            known |= {alias.asname or alias.name: f"{node.module}.{alias.name}" for alias in node.names}
        elif isinstance(node, ast.Call) and _called(node) in {"import_module", "__import__"}:
            names += [a.value for a in node.args[:1] if isinstance(a, ast.Constant)]
    return names + [name for node in ast.walk(tree) if (name := _reached(node, known))]


def _called(node: ast.Call) -> str:
    return str(getattr(node.func, "attr", "") or getattr(node.func, "id", ""))


def _reached(node: ast.AST, known: dict[str, str]) -> str:
    """`listening.records.keys.key` after `import listening`: reached as an attribute, it is imported too."""
    parts: list[str] = []
    while isinstance(node, ast.Attribute):
        parts, node = [node.attr, *parts], node.value
    top = known.get(node.id, "") if parts and isinstance(node, ast.Name) else ""
    return ".".join([top, *parts]) if top.split(".")[0] in {"listening", "stats"} else ""


def _faults(layer: str, source: str) -> list[str]:
    return [name for name in _imports(source) if not _may(layer, name)]


def _may(layer: str, name: str) -> bool:
    top = name.split(".")[0]
    if top in sys.stdlib_module_names or name in FREE or name.startswith("listening.errors"):
        return True
    if name in {"listening.__version__"}:
        return True
    target = _layer(name)
    if name.startswith("listening.records.keys"):
        return layer in KEYED or layer == "records"
    if target == layer:
        return True
    if target in ALLOWED[layer]:
        return True
    dotted = ".".join(name.split(".")[1:3])
    return top == "listening" and any(dotted == allowed for allowed in ALLOWED[layer])


def _files() -> list[tuple[str, Path]]:
    """Every file with its layer; a file that stands in no folder is a layer of its own."""
    top = ROOT / "listening"
    inside = [(path.relative_to(top).parts[0].removesuffix(".py"), path) for path in top.rglob("*.py")]
    return [("stats", p) for p in (ROOT / "stats").rglob("*.py")] + inside


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
        ("session", "from listening.records.keys import key"),
        ("session", "from listening.metrics import sharpness"),
        ("tui", "def late():\n    from listening.records.keys.key import Key"),
        ("report", "from listening.records.keys.key import Key"),
        ("report", "import listening.analysis.decide"),
        ("steps", "from listening.commands import deal"),
        ("notebook", "from listening.tui import app"),
        ("notebook", "from listening.records.keys.key import Key"),
        ("cli", "from listening.analysis import full_analysis"),
        ("commands", "import sqlalchemy"),
        ("session", "import listening\nx = listening.records.keys.key.Key"),
        ("tui", "import listening as l\nl.records.keys.key.load('x')"),
        ("report", "from listening import records\nx = records.keys.key.Key"),
        ("stats", "import stats\n__import__('listening.audio')"),
        ("audio", "import importlib\nimportlib.import_module('stats.deciding.verdict')"),
    ],
)
def test_the_check_sees_a_seeded_violation(layer: str, source: str) -> None:
    assert _faults(layer, source)


def _modules() -> dict[str, Path]:
    """Every file by the name it is imported under."""
    paths = [path for _, path in _files()]
    names = [
        ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__") for path in paths
    ]
    return dict(zip(names, paths, strict=True))


def _needs(source: str, modules: set[str]) -> set[str]:
    """Which of the modules a file imports, deferred imports included; for types alone does not count."""
    tree = _Run().visit(ast.parse(source))
    return {known for name in _imports(ast.unparse(tree)) if (known := _known(name, modules))}


class _Run(ast.NodeTransformer):
    """Leaves out what is there for type checkers alone."""

    def visit_If(self, node: ast.If) -> ast.AST:
        if "TYPE_CHECKING" in ast.unparse(node.test):
            return ast.Pass()
        return self.generic_visit(node)


def _known(name: str, modules: set[str]) -> str:
    """The module that a dotted name begins with: all of it, or all but what it holds; empty if none does."""
    while name and name not in modules:
        name = name.rpartition(".")[0]
    return "" if name in PACKAGES else name


def _circle(needs: dict[str, set[str]]) -> list[str]:
    """Some modules of which each needs the next and the last the first; none if there is no circle."""
    left = dict(needs)
    while left:
        free = [name for name, wanted in left.items() if not wanted & left.keys() - {name}]
        if not free:
            way = [min(left)]
            while way[-1] not in way[:-1]:
                way.append(min(left[way[-1]] & left.keys() - {way[-1]}))
            return way[way.index(way[-1]) :]
        for name in free:
            del left[name]
    return []


def test_no_modules_need_each_other_in_a_circle() -> None:
    """Neither between folders nor inside one: what stands in a circle can be read and moved only whole."""
    modules = _modules()
    assert _circle({name: _needs(path.read_text(), {*modules}) for name, path in modules.items()}) == []


def test_a_seeded_circle_is_seen_and_one_for_types_alone_is_none() -> None:
    late = {"a.x": "from a import y", "a.y": "def f():\n    import a.z", "a.z": "from a.x import g"}
    assert _circle({name: _needs(text, {*late}) for name, text in late.items()}) == [
        "a.x",
        "a.y",
        "a.z",
        "a.x",
    ]
    called = late | {"a.z": "def f():\n    import importlib\n    importlib.import_module('a.x')"}
    assert _circle({name: _needs(text, {*called}) for name, text in called.items()})[0] == "a.x"
    types = late | {"a.z": "from typing import TYPE_CHECKING\nif TYPE_CHECKING:\n    from a.x import g"}
    assert _circle({name: _needs(text, {*types}) for name, text in types.items()}) == []


# what makes up the name of a module as it goes: a command by its word, a function's room, the database in use
MADE_UP = {
    "listening/__init__.py",
    "listening/cli.py",
    "listening/commands/fit/__init__.py",
    "listening/store/claims.py",
    "stats/__init__.py",
}


def _made_up(source: str) -> bool:
    calls = [node for node in ast.walk(ast.parse(source)) if isinstance(node, ast.Call)]
    loads = [node for node in calls if _called(node) in {"import_module", "__import__"}]
    return any(not isinstance(argument, ast.Constant) for node in loads for argument in node.args[:1])


def test_a_name_of_a_module_is_made_up_only_where_it_is_told() -> None:
    """No other test could see what it imports."""
    found = {str(path.relative_to(ROOT)) for _, path in _files() if _made_up(path.read_text())}
    assert found == MADE_UP
    assert _made_up("import importlib\nimportlib.import_module('listening.' + 'tui')")


TOP_LEVEL = {"bench", "docs", "listening", "protocols", "stats", "stimuli_demo", "tests"}


def test_what_stands_at_the_top_is_told_on_the_developers_page() -> None:
    """A package beside `listening` and `stats` would be a layer without a row."""
    with_code = {path.relative_to(ROOT).parts[0] for path in _tracked() if path.suffix == ".py"}
    assert with_code <= TOP_LEVEL
    page = (ROOT / "DEVELOPERS.md").read_text()
    assert [name for name in TOP_LEVEL if f"`{name}/`" not in page] == []


def _tracked() -> list[Path]:
    """Python files of the source tree; not those of an environment or a study made in it."""
    folders = [path for path in ROOT.iterdir() if path.is_dir() and not path.name.startswith(".")]
    made = {path.parent for path in ROOT.glob("*/plan.json")}
    return [*ROOT.glob("*.py"), *(p for f in folders if f not in made for p in f.glob("*.py"))]


def test_a_relative_import_is_refused() -> None:
    with pytest.raises(AssertionError, match="relative"):
        _imports("from . import sound")


def test_developers_page_prints_the_same_table() -> None:
    page = (ROOT / "DEVELOPERS.md").read_text()
    for layer, row in TABLE.items():
        assert f"| {layer} | {', '.join(_words(row))} |" in page, layer


def test_every_rule_of_the_developers_page_names_tests_that_exist() -> None:
    page = (ROOT / "DEVELOPERS.md").read_text()
    rows = page.partition("| rule | its test |")[2].partition("\n\n")[0].splitlines()[2:]
    assert len(rows) >= 15
    ruled = [row.split("|")[1].strip().split(";")[0] for row in rows]
    told = re.findall(r"^- \*\*(.+?)\.\*\*", page.partition("## Rules that")[2].partition("\n## ")[0], re.M)
    assert len(told) >= 8
    assert [rule for rule in told if not rule.lower().startswith(tuple(ruled))] == [], "a rule without a row"
    for row in rows:
        named = re.findall(r"`(tests/[^`]+\.py)`", row)
        assert named, row
        assert [name for name in named if not (ROOT / name).is_file()] == [], row


TWICE = {  # what each name means in its folders; a new name is not added here but chosen anew
    "comparison": "a pair in a protocol's design; what compare writes",
    "comparisons": "the act on plain values; counts of paired answers",
    "drawing": "a figure's lines; the drawing of lots in a sitting",
    "errors": "stats stands alone and has errors of its own",
    "exposure": "how loud two sounds are played; dose in a sitting",
    "form": "how records are saved; the grammar of a sentence",
    "forms": "forms of trials; grammar, in several languages",
    "level": "sound levels; the station's calibration as a record; its screen",
    "reading": "a draft read for claims; a screen that is read",
    "rows": "rows of compare; rows of a table read from a file",
    "slots": "places of a plan; gaps in a sentence",
    "tasks": "what a task is; its sheet of answers in a sitting",
}


def test_a_file_name_stands_once_but_for_those_that_are_told() -> None:
    stems = [
        path.stem
        for tree in ("listening", "stats")
        for path in (ROOT / tree).rglob("*.py")
        if "commands" not in path.parts and not path.stem.startswith("__") and "versions" not in path.parts
    ]
    assert {stem for stem in stems if stems.count(stem) > 1} <= set(TWICE)


def _words(row: str) -> list[str]:
    return re.findall(r"\S+(?: \((?:with|not) the key\))?", row)
