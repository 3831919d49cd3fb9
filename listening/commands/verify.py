"""`listening verify`: are findings and page on disk what the data give?"""

import argparse
from pathlib import Path

from listening.commands import import_table, report, show
from listening.records.findings import Findings
from listening.records.form import read_text
from listening.records.imported import load
from listening.records.study import Study, open_analysed

SHOWN = 10


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's words."""
    parser.add_argument("folder", type=Path, help="study folder, analysed and reported")
    show.json_option(parser)


def run(args: argparse.Namespace) -> int:
    """Recompute everything; exit code 0 where all is the same, 1 where something is not."""
    from listening.analysis import again

    study = open_analysed(args.folder)
    found = Findings.load(study.findings)
    fresh = _fresh(study, found)
    unlike = again.differences(found, fresh)
    page = _page(study, found)
    lines = [] if found.imported else ["hashes: protocol, manifest, key and plan are what was dealt"]
    if unlike:
        lines.append(f"findings: DIFFER from what the data give in {len(unlike)} places")
        lines += [f"  {d.place}: on disk {d.on_disk}, from the data {d.from_data}" for d in unlike[:SHOWN]]
    else:
        lines.append("findings: what the data give")
    lines.append(f"page: {page}")
    if found.version != fresh.version or found.method.versions != fresh.method.versions:
        lines.append("versions: other than those that made the findings")
    is_same = not unlike and page == SAME
    data = {"same": is_same, "page": page, "differences": [vars(d) for d in unlike]}
    show.result(args, lines, data)
    return 0 if is_same else 1


def _fresh(study: Study, found: Findings) -> Findings:
    """What the data give now."""
    if found.imported:
        return import_table.of_table(study.imported, load(study.about), name=found.imported.table)
    from listening.analysis import again
    from listening.store.store import utc_now

    return again.findings(study, found, now=utc_now)


SAME = "what the findings give"


def _page(study: Study, found: Findings) -> str:
    """What is to be said of the page on disk."""
    if not study.page.is_file():
        return "not written yet (listening report)"
    on_disk = read_text(study.page)
    if any(report.render(study, found, with_sounds=with_sounds) == on_disk for with_sounds in (True, False)):
        return SAME
    return "DIFFERS from what the findings give: write it again (listening report)"
