"""`listening amend`: take a changed protocol into a dealt study and keep the answers."""

import argparse
from pathlib import Path

from listening.console import passphrase, show
from listening.errors import StudyError
from listening.records.dealt.amendable import Refused
from listening.records.dealt.amendment import Amendment, Change
from listening.records.study import Study, open_study

SCOPES = {
    "any time": "nobody heard it or was led by it",
    "before opening": "only the analysis reads it, and the key is closed",
    "wording": "listeners read it",
    "stage": "with orders and listeners of its own; what was answered stays",
}


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's words."""
    parser.add_argument("folder", type=Path, help="study folder, dealt, with its protocol.toml changed")
    parser.add_argument("reason", metavar="WHY", nargs="?", help="the reason in words; it stands on the page")
    passphrase.option(parser)
    parser.add_argument("--dry-run", action="store_true", help="say what would change; nothing is written")
    show.json_option(parser)


def run(args: argparse.Namespace) -> int:
    """Amend, or say what an amendment would change; exit code 1 where a dry run finds it refused."""
    study = passphrase.of(open_study(args.folder), args)
    from listening.steps import study_amendment

    if args.dry_run:
        return _dry(args, study)
    if args.reason is None:
        raise StudyError(f'say why: listening amend {study.root} "a word was misspelt"')
    made = study_amendment.amend(study, args.reason)
    show.result(args, _lines(study, made), made.model_dump(mode="json"))
    return 0


def _dry(args: argparse.Namespace, study: Study) -> int:
    from listening.steps import study_amendment

    if not study.frozen.is_file():
        raise StudyError(f"{study.root}: nothing is dealt yet: change the protocol, nothing is lost")
    changes, refused = study_amendment.changed(study)
    lines = [*_changes(changes), *_refusals(refused)] or ["nothing is changed"]
    told = {
        "changes": [change.model_dump() for change in changes],
        "refused": [vars(one) for one in refused],
    }
    show.result(args, lines, told)
    return 1 if refused else 0


def _changes(changes: list[Change]) -> list[str]:
    return [f"{c.key}: `{c.was}` becomes `{c.now}` ({SCOPES[c.scope]})" for c in changes]


def _refusals(refused: list[Refused]) -> list[str]:
    return [f"REFUSED {one.key}: {one.why}" for one in refused]


def _lines(study: Study, made: Amendment) -> list[str]:
    lines = [f"amendment {made.number}: {made.reason}", *_changes(list(made.changes))]
    lines.append(f"{made.begun} sittings had begun, {made.finished} of them finished; every answer is kept")
    if made.is_other_wording and made.begun:
        lines.append(
            f"listeners read other words from now on: the {made.begun} sittings stand apart, decide nothing, "
            "and their places are free again"
        )
    if made.adds_stage:
        lines.append(
            "the next listeners sit the stage that lacks some; measure the added recordings: "
            f"listening measure {study.root}"
        )
    return [
        *lines,
        f"study hash now {made.study_digest}",
        f"seat people elsewhere with a new copy: listening station {study.root} OUT",
        f"a page that was deposited is of the plan before: listening deposit {study.root}",
    ]
