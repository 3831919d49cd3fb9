"""Runs a notebook in cells (`# %%`) and writes it as a page with what each cell printed; a failing cell fails all.

The page is made for `make docs`. Cells may use SOUNDS (the demo's recordings), FOLDER (a study folder) and
SAVE(figure, caption).
"""

import ast
import contextlib
import io
import re
import sys
import tempfile
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
ROOT = HERE.parent


def cells(text: str) -> list[tuple[str, str]]:
    """(kind, content) of each cell, kind `markdown` or `code`."""
    made = []
    for part in re.split(r"(?m)^# %%", text)[1:]:
        head, _, body = part.partition("\n")
        if "[markdown]" in head:
            lines = [line[2:] for line in body.splitlines()]
            made.append(("markdown", "\n".join(lines).strip()))
        else:
            made.append(("code", body.strip()))
    return made


def output(code: str, names: dict[str, Any]) -> str:
    """What a cell prints, and the value of its last line where that is an expression."""
    tree = ast.parse(code)
    last = tree.body.pop() if tree.body and isinstance(tree.body[-1], ast.Expr) else None
    printed = io.StringIO()
    with contextlib.redirect_stdout(printed):
        exec(compile(tree, "cell", "exec"), names)
        if isinstance(last, ast.Expr):
            value = eval(compile(ast.Expression(last.value), "cell", "eval"), names)
            if value is not None:
                print(value)
    return printed.getvalue().rstrip()


def page(notebook: Path, pictures: Path) -> str:
    """The notebook as Markdown."""
    import matplotlib as mpl

    mpl.use("svg")
    mpl.rcParams["svg.hashsalt"] = "docs"
    from listening.commands import new

    parts: list[str] = []

    def save(figure: Any, caption: str) -> None:
        path = pictures / f"{notebook.stem}_{len(parts)}.svg"
        figure.savefig(path, metadata={"Date": None})
        parts.append(f"![{caption}](/{path.relative_to(HERE)})")

    with tempfile.TemporaryDirectory() as folder:
        study = new.start(Path(folder) / "bells", ROOT / "protocols" / "preference.toml")
        names: dict[str, Any] = {"SOUNDS": ROOT / "stimuli_demo", "FOLDER": study.root, "SAVE": save}
        for kind, content in cells(notebook.read_text()):
            if kind == "markdown":
                parts.append(content)
                continue
            parts.append(f"```python\n{content}\n```")
            said = output(content, names)
            if said:
                parts.append(f"```text\n{said.replace(folder, '')}\n```")
    return "\n\n".join(parts) + "\n"


def main() -> None:
    """Every notebook of the folder, as a page beside it."""
    sys.path.insert(0, str(ROOT))
    pictures = HERE / "notebooks" / "made"
    pictures.mkdir(exist_ok=True)
    for notebook in sorted((HERE / "notebooks").glob("*.py")):
        (pictures / f"{notebook.stem}.md").write_text(page(notebook, pictures))


if __name__ == "__main__":
    main()
