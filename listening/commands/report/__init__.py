"""`listening report`: the page from the findings."""

import argparse
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from listening.commands.report import report_pdf
from listening.console import show
from listening.records.forms.form import write_bytes, write_text
from listening.records.study import Study, open_analysed

if TYPE_CHECKING:
    from listening.records.found.comparison import Comparison
    from listening.records.found.findings import Findings
    from listening.report.figures.figures import Drawing


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's words."""
    parser.add_argument("folder", type=Path, help="study folder, analysed")
    parser.add_argument("--no-sounds", action="store_true", help="leave the playable stimuli out of the page")
    parser.add_argument(
        "--pdf", action="store_true", help="also as PDF, without sounds (pip install 'listening[pdf]')"
    )
    parser.add_argument(
        "--figures",
        type=Path,
        metavar="DIR",
        help="also write every figure there, SVG and PNG, the size of a slide",
    )
    show.json_option(parser)


def run(args: argparse.Namespace) -> int:
    """Write the page and say where it is."""
    study = open_analysed(args.folder)
    from listening.records.found.findings import Findings  # slow to load: a slip in the folder is told before
    from listening.report.figures import figures
    from listening.report.page import claims_sheet as sheet
    from listening.report.sentences import sentences

    found = Findings.load(study.findings)
    with figures.kept() as drawings:
        text = render(study, found, with_sounds=not args.no_sounds)
    pdf = report_pdf.of(render(study, found, with_sounds=False)) if args.pdf else b""
    write_text(study.page, text)
    claims = claims_sheet(study)
    write_text(claims, sheet.render(found))
    lines = [] if found.imported else [f"what may be printed, on one sheet: {claims}"]
    lines.append(f"{len(found.questions)} questions on one page, {len(text) / 1e6:.1f} MB: {study.page}")
    data: dict[str, object] = {"page": str(study.page), "bytes": len(text.encode()), "claims": str(claims)}
    if pdf:
        write_bytes(study.page.with_suffix(".pdf"), pdf)
        data["pdf"] = str(study.page.with_suffix(".pdf"))
        lines.append(f"for paper: {data['pdf']}")
    if args.figures is not None:
        data["figures"] = list(
            map(
                str, save_figures(args.figures, drawings, note=sentences.SIMULATED if found.simulated else "")
            )
        )
        lines.append(f"{len(drawings)} figures, each as SVG and PNG: {args.figures}")
    show.result(args, lines, data)
    return 0


def save_figures(folder: Path, drawings: "Sequence[Drawing]", *, note: str = "") -> list[Path]:
    """Each figure of a page as a file for slides; returns what was written."""
    from listening.report.figures import figures

    made = []
    for drawing in drawings:
        for kind in ("svg", "png"):
            made.append(folder / f"{drawing.name}.{kind}")
            write_bytes(made[-1], figures.slide(drawing, kind, note=note))
    return made


def claims_sheet(study: Study) -> Path:
    """Where the sheet for those who print lies."""
    return study.report / "claims.html"


def render(study: Study, found: "Findings", *, with_sounds: bool) -> str:
    """The page of a study: findings, curves that `measure` kept, and (unless left out) sounds."""
    from listening.records.sounds.measured import Measures
    from listening.report.figures import strike_curves
    from listening.report.page import page

    strikes = []
    if study.measures.is_file():
        strikes = strike_curves.load(study.traces, Measures.load(study.measures), found)
    stimuli = study.stimuli if with_sounds else None
    return page.render(found, stimuli=stimuli, strikes=strikes, compared=_compared(study))


def _compared(study: Study) -> "tuple[Comparison, ...]":
    """What `measure` compared; nothing in a study that was measured before it did."""
    from listening.records.found.comparison import Comparisons

    return Comparisons.load(study.comparisons).comparisons if study.comparisons.is_file() else ()
