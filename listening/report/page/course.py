"""The course of a study in words: when it was fixed, by whom it is kept, and who looked when."""

from listening.records.found.findings import Findings
from listening.records.found.findings_study import Fixed, Looks


def rows(found: Findings) -> list[tuple[str, str]]:
    """(what, value) for the page; empty where the findings say nothing of it."""
    made = [] if found.fixed is None else _fixed(found.fixed)
    return made if found.looks is None else [*made, *_looks(found.looks)]


def _fixed(fixed: Fixed) -> list[tuple[str, str]]:
    made = [("fixed before the data", fixed.dealt_at)]
    if fixed.study_version > 1:
        made.append((f"version {fixed.study_version}, because", fixed.reason))
    if fixed.deposited_at:
        whom = f" with {fixed.deposited_with}" if fixed.deposited_with else ""
        made += [
            ("plan deposited", f"{fixed.deposited_at}{whom}"),
            ("page that was deposited", fixed.page_digest),
        ]
    else:
        made.append(("plan deposited", "no"))
    return made


def _looks(looks: Looks) -> list[tuple[str, str]]:
    count = len(looks.earlier) + (not looks.at_end and not looks.counts_only)
    told = f"{count}, {looks.unplanned} of them not planned" if count else "none"
    made = [
        ("listeners finished", f"{looks.finished} of {looks.planned} planned"),
        ("looks at answers before the end", told),
    ]
    if looks.counts_only:
        made.append(("this look", "at counts of listeners alone: the stopping rule did not plan it"))
    if looks.withdrawn:
        made.append(("withdrew", f"{looks.withdrawn}; what earlier looks spent stays spent"))
    if looks.spending != "none":
        made.append(("error rate shared out by", f"{looks.spending}, looks planned at {_counts(looks)}"))
    if looks.closed:
        made.append(("recruitment ended early", looks.closed))
    return made


def _counts(looks: Looks) -> str:
    return ", ".join(map(str, looks.rule_looks))
