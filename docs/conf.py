"""The documentation site: `make docs` builds it from Markdown and from the docstrings."""

import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

from listening import __version__  # noqa: E402
from listening.records import metric_register  # noqa: E402
from listening.records.metric_register import Metric  # noqa: E402

project = "listening"
author = "The listening contributors"
project_copyright = author
release = version = __version__

extensions = ["myst_parser", "sphinx.ext.autodoc", "sphinx.ext.autosummary", "sphinx.ext.napoleon"]
myst_enable_extensions = ["colon_fence", "deflist", "dollarmath"]
myst_heading_anchors = 3
autosummary_generate = True
autodoc_member_order = "bysource"
autodoc_typehints = "signature"
autodoc_default_options = {"members": True, "undoc-members": False, "show-inheritance": True}
autodoc_inherit_docstrings = False
napoleon_google_docstring = False
napoleon_use_rtype = False
templates_path = ["templates"]
exclude_patterns = ["build"]
suppress_warnings = ["docutils", "ref.python", "autosummary.import_cycle"]  # docstrings are plain text first
suppress_warnings += ["myst.xref_missing"]  # of included pages; tests check the others

html_theme = "furo"
html_title = f"listening {__version__}"
html_static_path: list[str] = []


def _commands_page() -> None:
    """The help of every command as one page, from the parsers themselves."""
    from listening.cli import COMMANDS
    from listening.commands import completion, examples

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
    (Path(__file__).parent / "reference" / "commands.md").write_text("\n".join(parts))


def _metrics_page() -> None:
    """What a study measures, from the register that every step asks."""
    head = ["metric", "key", "symbol", "unit", "ratios", "calibration", "in plain words", "source"]
    rows = [
        [m.name, f"`{m.key}`", m.symbol, m.unit, *_can(m), m.plain.format("a sound"), m.standard or "our own"]
        for m in metric_register.ALL
    ]
    about = "What `measure` stores of each recording. Ratios: whether “three times as much” means something."
    lines = ["# Metrics", "", about, ""]
    lines += [f"| {' | '.join(row)} |" for row in [head, ["---"] * len(head), *rows]]
    (Path(__file__).parent / "reference" / "metrics.md").write_text("\n".join(lines) + "\n")


def _can(metric: Metric) -> tuple[str, str]:
    return "yes" if metric.is_ratio else "no", "needed" if metric.needs_calibration else "-"


_commands_page()
_metrics_page()
