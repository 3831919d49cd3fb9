"""Writes `docs/replications.md` from `replications/replications.toml`: runs every command."""

import contextlib
import io
import json
import os
import shlex
import sys
import tomllib
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT), str(ROOT / "docs")]

import replications_figure  # noqa: E402

from listening import cli  # noqa: E402

LIST = ROOT / "docs" / "replications" / "replications.toml"
PAGE = ROOT / "docs" / "replications.md"
CHECKED = {
    "printed": "as printed there",
    "memory": "as printed there, quoted from memory; an independent program agrees",
    "recomputed": "the table as printed, the fit by an independent program",
}
HEAD = """# Replications

Published analyses of open tables, each done again by one command, run in the project's folder. A test runs
every command and holds its numbers to half a unit of the last published digit, or to the tolerance that the
source states. Tables and sounds lie in `docs/replications/`; `docs/make_replications.py` writes this page.
"""


def analyses() -> list[dict[str, Any]]:
    """What is replicated, in the order of the page."""
    found: list[dict[str, Any]] = tomllib.loads(LIST.read_text())["analysis"]
    return found


def ours(command: str, values: list[dict[str, Any]]) -> list[float]:
    """What the command gives for each value."""
    result = answered(command)
    return [value.get("times", 1.0) * _at(result, value["path"]) for value in values]


def figure(one: dict[str, Any]) -> str:
    """What was published beside ours, with one standard error of each estimate."""
    result = answered(one["command"])
    rows = [
        replications_figure.Row(
            value["what"],
            float(value["printed"]),
            value.get("times", 1.0) * _at(result, value["path"]),
            value.get("times", 1.0) * _at(result, [*value["path"][:-1], "se"]),
        )
        for value in one["values"]
    ]
    return replications_figure.svg(rows, axis="log-odds; ring: published; dot: ours, with one standard error")


def figures() -> dict[Path, str]:
    """Every figure of the page, by its file."""
    return {LIST.parent / f"{one['figure']}.svg": figure(one) for one in analyses() if "figure" in one}


def answered(command: str) -> Any:
    """What a command prints as JSON."""
    said = io.StringIO()
    with contextlib.chdir(ROOT), contextlib.redirect_stdout(said):
        code = cli.main(shlex.split(command)[1:])
    if code:
        raise SystemExit(f"{command}: exit code {code}")
    return json.loads(said.getvalue())


def tolerance(value: dict[str, Any]) -> float:
    """Half a unit of the last printed digit, or what the source allows."""
    decimals = len(value["printed"].partition(".")[2])
    return float(value.get("within", 0.5 * 10**-decimals))


def page() -> str:
    """The page in Markdown."""
    return HEAD + "".join(map(_section, analyses()))


def _section(one: dict[str, Any]) -> str:
    made = ours(one["command"], one["values"])
    lines = [
        f"\n## {one['title']}\n",
        f"{one['kind'].capitalize()}. {one['source']} ({CHECKED[one['checked']]}).\n",
    ]
    lines += [f"```console\n{one['command']}\n```\n", "| | published | ours |", "|---|---|---|"]
    for value, found in zip(one["values"], made, strict=True):
        decimals = len(value["printed"].partition(".")[2])
        beside = f" ± {value['within']:g}" if "within" in value else ""
        lines.append(f"| {value['what']} | {value['printed']}{beside} | {found:.{decimals}f} |")
    if "figure" in one:
        lines.append(f"\n![{one['title']}: published and ours](replications/{one['figure']}.svg)")
    return "\n".join(lines) + "\n"


def _at(result: Any, path: list[str | int]) -> float:
    for step in path:
        result = result[step]
    return float(result)


if __name__ == "__main__":
    os.environ.setdefault("NO_COLOR", "1")
    PAGE.write_text(page())
    for path, text in figures().items():
        path.write_text(text)
    print(f"written: {PAGE}")
