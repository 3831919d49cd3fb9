"""`listening export`: answers and findings as tables that another statistician can redo."""

import argparse
import io
import json
from pathlib import Path
from typing import TYPE_CHECKING

from listening.console import passphrase, show
from listening.errors import ListeningError
from listening.records.forms import rows
from listening.records.forms.environment import environment
from listening.records.forms.form import write_bytes, write_text
from listening.records.study import open_analysed

if TYPE_CHECKING:
    from pandas import DataFrame


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's words."""
    parser.add_argument("folder", type=Path, help="study folder, analysed")
    parser.add_argument("--to", type=Path, metavar="DIR", help="where to write (default: FOLDER/export)")
    parser.add_argument(
        "--format", choices=("csv", "json", "parquet"), default="csv", help="form of the tables (default csv)"
    )
    passphrase.option(parser)
    show.json_option(parser)


def run(args: argparse.Namespace) -> int:
    """Write the tables, the dictionary and the recipe; the opening of the key is logged."""
    study = passphrase.of(open_analysed(args.folder), args)
    from listening.steps import study_tables  # slow to load: a slip in the folder is told before
    from listening.store.store import utc_now

    made = study_tables.tables(study, now=utc_now)
    folder = args.to or study.root / "export"
    for name, table in made.tables.items():
        _write(folder / f"{name}.{args.format}", table, args.format)
    recipe = Path(__file__).parents[1] / "report" / "tables" / "recipe.md"
    written = f"\nThese tables were written by {environment()}.\n"
    write_text(folder / "recipe.md", recipe.read_text(encoding="utf-8") + written)
    lines = [
        f"{len(made.tables)} tables with {_n_answers(made.tables)} answers in {folder}",
        "dictionary says what each column is; recipe.md how to redo the numbers",
        "these tables name stimuli: keep them away from the station while anybody may still listen",
    ]
    show.result(args, lines, {"folder": str(folder), "tables": list(made.tables)})
    return 0


def _n_answers(tables: "dict[str, DataFrame]") -> int:
    return sum(len(tables[name]) for name in ("answers", "discriminated") if name in tables)


def _write(path: Path, table: "DataFrame", kind: str) -> None:
    """One table, whole or not at all."""
    if kind == "csv":
        write_text(path, table.map(rows.quoted).to_csv(index=False))
    elif kind == "json":
        # pandas rounds to 15 decimals, which leaves little of a small p
        records = table.astype(object).where(table.notna(), None).to_dict("records")
        write_text(path, json.dumps(records, indent=1, ensure_ascii=False, allow_nan=False) + "\n")
    else:
        content = io.BytesIO()
        try:
            table.to_parquet(content, index=False)
        except ImportError as error:
            raise ListeningError(
                "Parquet needs a package that is not installed: pip install 'listening[parquet]', or take "
                "--format csv"
            ) from error
        write_bytes(path, content.getvalue())
