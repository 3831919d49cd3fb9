"""`listening verify`: are findings, page and claims sheet on disk what the data give?"""

import argparse
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from listening.commands import import_table, report
from listening.commands.report import report_pdf
from listening.console import passphrase, show
from listening.errors import ListeningError, StudyError
from listening.records.dealt.imported import load
from listening.records.forms.text import read_text
from listening.records.found.findings import Findings
from listening.records.study import Study, open_analysed

if TYPE_CHECKING:
    from listening.analysis.again.reanalysis import Difference

SHOWN = 10
SAME = "what the findings give"
MISSING = "not written yet (listening report)"
OTHER = "DIFFERS from what the findings give: write it again (listening report)"
INHERENT = "who rewrote all of it before any head left the house is not seen (--head)"
NOT_MEASURED = "measured values: none (`listening measure` was not run)"
NO_HASH = "measured values: there, but not when the answers were analysed, or by a version that took no hash"
UNCHECKED = "not looked at: {}"
DIRECT = "direct share"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's words."""
    parser.add_argument("folder", type=Path, help="study folder, analysed and reported")
    parser.add_argument(
        "--head",
        metavar="CODE",
        help="a code that a listener, a desk, a page or a deposit gave: is its row still in the record?",
    )
    passphrase.option(parser)
    show.json_option(parser)


def run(args: argparse.Namespace) -> int:
    """Recompute everything; exit code 0 where all is the same, 1 where something is not."""
    study = passphrase.of(open_analysed(args.folder), args)
    if args.head:
        return _head(args, study)
    from listening.analysis.again import reanalysis  # slow to load: a slip in the folder is told before

    found = Findings.load(study.findings)
    faults = [] if found.imported else _faults(study, found)
    try:
        fresh = _fresh(study, found)
    except StudyError as error:
        return _not_compared(args, [*faults, *([] if faults else str(error).split("\n"))])
    differences = reanalysis.differences(found, fresh)
    unlike, tiny = ([d for d in differences if d.is_tiny is kind] for kind in (False, True))
    written = {"page": page(study, found), "claims sheet": sheet(study, found)}
    if study.page.with_suffix(".pdf").is_file():
        written["PDF"] = _pdf(study, found)
    methods = _methods(found, fresh)
    lines = [*_hashes(study, found, faults), *_finding_lines(unlike, tiny), *_method_lines(methods)]
    lines += [f"{what}: {state}" for what, state in written.items()]
    if found.version != fresh.version or found.method.versions != fresh.method.versions:
        lines.append("versions: other than those that made the findings")
    is_same = not unlike and not faults and OTHER not in written.values() and written["page"] == SAME
    data = {
        "same": is_same,
        **written,
        "faults": faults,
        "differences": [_told(d) for d in unlike],
        "tiny_differences": [_told(d) for d in tiny],
        "methods": methods,
    }
    show.result(args, lines, data)
    return 0 if is_same else 1


def _finding_lines(unlike: "list[Difference]", tiny: "list[Difference]") -> list[str]:
    if not unlike:
        return [f"findings: what the data give{_last_bits(tiny)}"]
    shown = [f"  {d.place}: on disk {d.on_disk}, from the data {d.from_data}" for d in unlike[:SHOWN]]
    return [f"findings: DIFFER from what the data give in {len(unlike)} places", *shown]


def _last_bits(tiny: "list[Difference]") -> str:
    """How far numbers agree that another processor computed."""
    if not tiny:
        return ""
    most = max(tiny, key=lambda d: d.apart)
    return (
        f"; {len(tiny)} numbers differ in digits that are never printed, as between processors: at most by "
        f"{most.apart:.0e} ({most.place})"
    )


def _told(difference: "Difference") -> dict[str, str]:
    return {"place": difference.place, "on_disk": difference.on_disk, "from_data": difference.from_data}


def _faults(study: Study, found: Findings) -> list[str]:
    """Files and rows that are not what they were; the walk of the chains comes first."""
    from listening.analysis.opening import audit, walked_record

    return [*audit.faults(study, found), *walked_record.faults(study, found)]


def _not_compared(args: argparse.Namespace, faults: list[str]) -> int:
    """Something is so far from what was dealt or written down that nothing can be analysed again."""
    lines = [
        f"files: {len(faults)} NOT what was dealt, written down or analysed",
        *(f"  {f}" for f in faults),
    ]
    lines.append("findings, page and claims sheet: not compared, for nothing can be analysed like this")
    show.result(args, lines, {"same": False, "faults": faults, "differences": []})
    return 1


def _head(args: argparse.Namespace, study: Study) -> int:
    """Whether a code that was kept still stands in the record; exit code 1 where it does not."""
    from listening.analysis.opening import walked_record

    place = walked_record.knows(study, args.head)
    said = (
        f"stands in {place}"
        if place
        else ("stands NOWHERE in this record: it was made again since, or the code is of another study")
    )
    show.result(args, [f"{args.head}: {said}"], {"head": args.head, "same": bool(place), "place": place})
    return 0 if place else 1


def _hashes(study: Study, found: Findings, faults: list[str]) -> list[str]:
    """What is to be said of the files that the findings rest on."""
    if found.imported:
        return []
    if faults:
        return [f"files: {len(faults)} NOT what was dealt or analysed", *(f"  {fault}" for fault in faults)]
    lines = ["files: protocol, manifest, stimuli, key, plan and clips are what was dealt"]
    if found.record is None or not found.record.is_chained:
        lines.append(
            "record: dealt by a version without chains: a changed answer can only be seen in its hash"
        )
    else:
        lines.append(f"record: every answer, event, opening and removal hangs in its chain; {INHERENT}")
    if not found.sources:
        lines.append(NOT_MEASURED if not study.measures.is_file() else NO_HASH)
    return lines


def _methods(found: Findings, fresh: Findings) -> list[dict[str, str]]:
    """The questions that another method decides now, with what each method says."""
    now = {q.id: q for q in fresh.questions}
    other_rule = found.method.df_rule != fresh.method.df_rule
    return [
        {
            "id": q.id,
            "then": q.word,
            "by": q.decided_by,
            "now": now[q.id].word,
            "by_now": now[q.id].decided_by,
            "rule": f"degrees of freedom {found.method.df_rule}",
            "rule_now": f"degrees of freedom {fresh.method.df_rule}",
        }
        for q in found.questions
        if q.id in now and (q.decided_by != now[q.id].decided_by or (other_rule and q.decided_by == DIRECT))
    ]


def _method_lines(methods: list[dict[str, str]]) -> list[str]:
    if not methods:
        return []
    return [
        "method: questions on choices are decided otherwise now than when these findings were made",
        *(
            f"  {m['id']}: {m['then']} by {m['by']} ({m['rule']}); "
            f"{m['now']} by {m['by_now']} ({m['rule_now']})"
            for m in methods
        ),
    ]


def _fresh(study: Study, found: Findings) -> Findings:
    """What the data give now."""
    if found.imported:
        return import_table.of_table(study.imported, load(study.about), name=found.imported.table)
    from listening.analysis.again import reanalysis
    from listening.store.store import utc_now

    return reanalysis.findings(study, found, now=utc_now)


def page(study: Study, found: Findings) -> str:
    """What is to be said of the page on disk."""
    return _state(
        study.page,
        *(lambda sounds=sounds: report.render(study, found, with_sounds=sounds) for sounds in (True, False)),
    )


def sheet(study: Study, found: Findings) -> str:
    from listening.report.page import claims_sheet

    return _state(report.claims_sheet(study), lambda: claims_sheet.render(found))


def _state(path: Path, *ways: Callable[[], str]) -> str:
    """Whether a file on disk is what one of the ways of writing it gives."""
    if not path.is_file():
        return MISSING
    on_disk = read_text(path)
    return SAME if any(way() == on_disk for way in ways) else OTHER


def _pdf(study: Study, found: Findings) -> str:
    try:
        made = report_pdf.of(report.render(study, found, with_sounds=False))
    except ListeningError as error:
        return UNCHECKED.format(error)
    return SAME if study.page.with_suffix(".pdf").read_bytes() == made else OTHER
