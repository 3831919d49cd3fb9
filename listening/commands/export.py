"""`listening export`: answers and findings as tables that another statistician can redo."""

import argparse
import io
from pathlib import Path
from typing import TYPE_CHECKING

from listening.console import show
from listening.errors import ListeningError
from listening.records import rows
from listening.records.environment import environment
from listening.records.findings import Findings
from listening.records.form import write_bytes, write_text
from listening.records.study import open_analysed

if TYPE_CHECKING:
    from pandas import DataFrame


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's words."""
    parser.add_argument("folder", type=Path, help="study folder, analysed")
    parser.add_argument("--to", type=Path, metavar="DIR", help="where to write (default: FOLDER/export)")
    parser.add_argument(
        "--format", choices=("csv", "json", "parquet"), default="csv", help="of the tables (default csv)"
    )
    show.json_option(parser)


def run(args: argparse.Namespace) -> int:
    """Write the tables, the dictionary and the recipe; the opening of the key is logged."""
    from listening.analysis.again import exported_tables, reanalysis
    from listening.analysis.collect import keyed_answers, keyed_discrimination
    from listening.store.store import utc_now

    study = open_analysed(args.folder)
    found = Findings.load(study.findings)  # only what was analysed: no early look by the back door
    if found.imported:
        raise ListeningError(
            f"{study.root}: the answers came as a table and lie there as they came, in "
            f"{study.imported.name}; there is nothing more to export"
        )
    at = reanalysis.reopened(study, found, now=utc_now)
    told = keyed_discrimination.frame(at.answers, at.opened.key.clips, at.opened.plan)
    compared = keyed_answers.frame(at.answers, at.opened.key, at.opened.manifest, may_be_empty=len(told) > 0)
    made = exported_tables.tables(compared, found, told)
    folder = args.to or study.root / "export"
    for name, table in made.tables.items():
        _write(folder / f"{name}.{args.format}", table, args.format)
    recipe = Path(exported_tables.__file__).parents[2] / "report" / "tables" / "recipe.md"
    written = f"\nThese tables were written by {environment()}.\n"
    write_text(folder / "recipe.md", recipe.read_text(encoding="utf-8") + written)
    lines = [
        f"{len(made.tables)} tables with {len(compared) + len(told)} answers in {folder}",
        "dictionary says what each column is; recipe.md how to redo the numbers",
        "these tables name stimuli: keep them away from the station while anybody may still listen",
    ]
    show.result(args, lines, {"folder": str(folder), "tables": list(made.tables)})
    return 0


def _write(path: Path, table: "DataFrame", kind: str) -> None:
    """One table, whole or not at all."""
    if kind == "csv":
        write_text(path, table.map(rows.quoted).to_csv(index=False))
    elif kind == "json":
        write_text(
            path, table.to_json(orient="records", indent=1, force_ascii=False, double_precision=15) + "\n"
        )
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
