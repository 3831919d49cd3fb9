"""The pages that are written from the code: commands, metrics, and one page for each folder of modules."""

import ast
from pathlib import Path

from listening.cli import COMMANDS
from listening.commands import completion, examples
from listening.records.kinds import metric_register
from listening.records.kinds.metric_register import Metric

HERE = Path(__file__).resolve().parent
ROOT = HERE.parent
REFERENCE = HERE / "reference"
CODE = REFERENCE / "generated"
LAYERS = (
    "records",
    "store",
    "audio",
    "metrics",
    "intake",
    "stimuli",
    "design",
    "planning",
    "session",
    "simulate",
    "analysis",
    "report",
    "steps",
)
"""Folders of `listening` that the reference shows; screens and commands have pages of their own."""


def write_all() -> None:
    """Every made page, written only where it changed, so that a second build reads little again."""
    _write(REFERENCE / "commands.md", commands())
    _write(REFERENCE / "metrics.md", metrics())
    CODE.mkdir(exist_ok=True)
    pages = {name: code(name) for name in packages()}
    for left in set(CODE.iterdir()) - {CODE / f"{name}.md" for name in pages}:
        left.unlink()
    for name, text in pages.items():
        _write(CODE / f"{name}.md", text)


def commands() -> str:
    """The help of every command as one page, from the parsers themselves."""
    parts = [
        "# Commands\n",
        "`listening COMMAND --help` prints the same. Exit code 0: done; 2: you can mend it.\n",
    ]
    for name, parser in completion.parsers().items():
        parts += [f"## {name}\n", f"{COMMANDS[name].capitalize()}.\n"]
        parts += [f"```text\n{parser.format_usage().removeprefix('usage: ')}```\n"]
        for action in parser._actions:
            words = ", ".join(action.option_strings) or str(action.metavar or action.dest)
            said = (action.help or "").replace("%(default)s", str(action.default)).replace("%%", "%")
            parts += [f"`{words}`\n: {said or '-'}\n"]
        for line, what in examples.EXAMPLES.get(name, ()):
            parts += [f"```console\n{line}\n```\n{what}\n"]
    return "\n".join(parts)


def metrics() -> str:
    """What a study measures, from the register that every step asks."""
    head = ["metric", "key", "symbol", "unit", "ratios", "calibration", "in plain words", "source"]
    rows = [
        [m.name, f"`{m.key}`", m.symbol, m.unit, *_can(m), m.plain.format("a sound"), m.standard or "our own"]
        for m in metric_register.ALL
    ]
    about = "What `measure` stores of each recording. Ratios: whether “three times as much” means something."
    lines = ["# Metrics", "", about, ""]
    lines += [f"| {' | '.join(row)} |" for row in [head, ["---"] * len(head), *rows]]
    return "\n".join(lines) + "\n"


def packages() -> list[str]:
    """Folders of modules, by their dotted names, outer ones first."""
    tops = [ROOT / "stats", *(ROOT / "listening" / layer for layer in LAYERS)]
    folders = [f for top in tops for f in (top, *sorted(p for p in top.rglob("*") if p.is_dir()))]
    found = [f for f in folders if (f / "__init__.py").exists() and f.name != "migrations"]
    return [".".join(f.relative_to(ROOT).parts) for f in found]


def code(package: str) -> str:
    """One page: what the folder is for, then each of its modules; a page a module would be four hundred."""
    folder = ROOT.joinpath(*package.split("."))
    modules = sorted(p.stem for p in folder.glob("*.py") if p.stem != "__init__")
    parts = [f"# {package}\n", _automodule(package)]
    for module in modules:
        parts += [f"## {module}\n", _automodule(f"{package}.{module}")]
    return "\n".join(parts)


def first_line(package: str) -> str:
    """What a folder says it is."""
    tree = ast.parse((ROOT.joinpath(*package.split(".")) / "__init__.py").read_text())
    return (ast.get_docstring(tree) or "").partition("\n")[0]


def _automodule(name: str) -> str:
    return f"```{{eval-rst}}\n.. automodule:: {name}\n```\n"


def _can(metric: Metric) -> tuple[str, str]:
    return "yes" if metric.is_ratio else "no", "needed" if metric.needs_calibration else "-"


def _write(path: Path, text: str) -> None:
    if not path.exists() or path.read_text() != text:
        path.write_text(text)
