"""`listening deal`: freeze the study; balanced orders, a sealed key, clips under random codes."""

import argparse
import secrets
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from listening.commands import progress, show
from listening.design import balance, slots
from listening.design import deal as design
from listening.errors import StudyError
from listening.records import protocol
from listening.records.manifest import Manifest
from listening.records.plan import Plan
from listening.records.study import Study, open_study


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's words."""
    parser.add_argument("folder", type=Path, help="study folder, prepared")
    show.json_option(parser)


def run(args: argparse.Namespace) -> int:
    """Deal and print what was balanced."""
    study = open_study(args.folder)
    with progress.bar("coding clips") as on_progress:
        plan, lines = deal(study, on_progress=on_progress)
    n_trials = len(plan.slots[0].trials)
    spare = f" and {len(plan.slots) - plan.planned} spare" if len(plan.slots) > plan.planned else ""
    text = [
        f"dealt {plan.planned}{spare} sittings of {n_trials} trials, {len(plan.clips)} coded clips",
        f"study hash {plan.study_digest}",
        *(f"  {'exact ' if line.exact else 'nearly'} {line.what}: {_range(line)}" for line in lines),
        f"keep {study.sealed} away from the station; a listener sits with: listening sit {study.root}",
    ]
    counted = [vars(line) for line in lines]
    show.result(args, text, {"study_digest": plan.study_digest, "slots": len(plan.slots), "balance": counted})
    return 0


def deal(
    study: Study,
    *,
    secret: str | None = None,
    dealt_at: str | None = None,
    on_progress: Callable[[int, int], None] | None = None,
) -> tuple[Plan, list[balance.Line]]:
    """Write key, clips and plan of a prepared study; the plan comes last, so that a killed deal is no deal.

    Raises
    ------
    StudyError
        Answers were already given to an earlier deal, or the protocol changed since `prepare`.
    """
    if study.answers.exists():
        raise StudyError(
            f"{study.answers}: answers exist for this deal; start a new study folder to deal again"
        )
    chosen, manifest = protocol.load(study.protocol), Manifest.load(study.manifest)
    digest = protocol.digest(study.protocol)
    if manifest.protocol_digest != digest:
        raise StudyError(
            f"{study.protocol}: changed since the stimuli were made; run: listening prepare {study.root}"
        )
    dealt = design.deal(
        chosen,
        manifest,
        protocol_digest=digest,
        secret=secret or secrets.token_hex(16),
        dealt_at=dealt_at or datetime.now(UTC).isoformat(timespec="seconds"),
    )
    plan = _write(study, dealt, manifest, on_progress)
    return plan, balance.report(
        slots.of_study(chosen, manifest), {s.stimulus: s.condition for s in manifest.stimuli}
    )


def _write(
    study: Study, dealt: design.Dealt, manifest: Manifest, on_progress: Callable[[int, int], None] | None
) -> Plan:
    from listening.stimuli import clips

    study.plan.unlink(missing_ok=True)
    dealt.key.save(study.key)
    study.key.chmod(0o600)
    sounds = {
        code: (study.stimuli / manifest.of(h.stimulus).file, h.gain_db) for code, h in dealt.heard.items()
    }
    digests = clips.write(study.clips, sounds, secret=dealt.key.secret, on_progress=on_progress)
    plan = design.with_clips(dealt.plan, digests)
    plan.save(study.plan)
    return plan


def _range(line: balance.Line) -> str:
    return f"{line.smallest}" if line.smallest == line.largest else f"{line.smallest} to {line.largest}"
