"""`listening merge`: bring another site's sittings into this study."""

import argparse
import re
from pathlib import Path

from listening.console import show, workplaces
from listening.errors import ListeningError, StudyError
from listening.records.dealt.plan import Plan
from listening.records.study import Study, open_study

SITE = re.compile(r"[A-Za-z0-9_-]{1,24}")


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's words."""
    parser.add_argument("folder", type=Path, help="study folder that takes them in")
    parser.add_argument(
        "other", help="the other site's study folder, answers file, or postgresql://HOST/DATABASE"
    )
    parser.add_argument("--site", required=True, help="name of the other site")
    parser.add_argument("--own-site", help="name of this site, for sittings that carry none")
    parser.add_argument(
        "--keep-apart",
        action="store_true",
        help="take slots and codes that both sites used; codes become CODE@SITE",
    )
    show.json_option(parser)


def run(args: argparse.Namespace) -> int:
    """Merge and say what came."""
    from listening.store import merging, open_store, place_of, releasing

    for name in (args.site, args.own_site):
        if name is not None and not SITE.fullmatch(name):
            raise ListeningError(f"site: found `{name}`, wanted 1 to 24 letters, digits, - or _")
    study = open_study(args.folder)
    plan = Plan.load(study.plan)
    _check_other(args.other, plan)
    store, other = open_store(place_of(study)), open_store(workplaces.place(args.other), create=False)
    merged = merging.merge(
        store,
        other,
        site=args.site,
        study_digest=plan.study_digest,
        before=plan.digests[:-1],
        keep_apart=args.keep_apart,
    )
    releasing.release(store, [one for one in plan.digests if not plan.is_same_wording(one)])
    if args.own_site:
        merging.name_own_site(store, args.own_site)
    store.close()
    other.close()
    lines = [f"{merged.sittings} sittings with {merged.answers} answers came from {args.site}"]
    if merged.known:
        lines.append(f"{merged.known} sittings were here already, the same in every answer")
    if merged.renamed:
        lines.append(
            f"renamed, because both sites used the code: {', '.join(merged.renamed)} (now CODE@{args.site})"
        )
    show.result(args, lines, vars(merged))
    return 0


def _check_other(word: str, plan: Plan) -> None:
    """A whole study folder is compared by its plan, which says more plainly what differs."""
    there = Study(Path(word))
    if not there.plan.is_file():
        return
    other = Plan.load(there.plan)
    if other.study_digest in plan.digests:
        return  # perhaps before an amendment
    if other.protocol_digest != plan.protocol_digest:
        raise StudyError(
            f"{word}: its protocol ({other.protocol_digest[:12]}) is not this one "
            f"({plan.protocol_digest[:12]}); answers to different protocols are never pooled"
        )
    if other.study_digest != plan.study_digest:
        raise StudyError(
            f"{word}: dealt separately ({other.study_digest[:12]}, here {plan.study_digest[:12]}), so its "
            "clip codes are not this key's; sites must work from copies of one dealt station folder"
        )
