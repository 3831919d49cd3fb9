"""The deal: balanced orders, a sealed key, clips under random codes; the study is frozen by it."""

import secrets
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime

from listening.design import balance, slots, versions
from listening.design import dealing as design
from listening.design.draws import Draws, open_secret
from listening.errors import StudyError
from listening.records.dealt import record
from listening.records.dealt.plan import Plan
from listening.records.dealt.secret import SECRET_DIGITS
from listening.records.forms import frozen
from listening.records.forms.form import write_text
from listening.records.forms.text import read_text
from listening.records.keys import key_sealing
from listening.records.keys.key import Key
from listening.records.protocols import protocol
from listening.records.sounds.manifest import Manifest
from listening.records.study import Study
from listening.store import hold


def deal(
    study: Study,
    *,
    again: str = "",
    secret: str | None = None,
    open_seed: int | None = None,
    keyholder: Callable[[], str] | None = None,
    dealt_at: str | None = None,
    on_progress: Callable[[int, int], None] | None = None,
) -> tuple[Plan, list[balance.Line]]:
    """Write key, clips and plan of a prepared study; the plan comes last, so that a killed deal is no deal.

    A deal that was cut off while it moved an older one aside is undone first.

    Parameters
    ----------
    again : why a deal that has answers is replaced; it moves to versions/ first
    keyholder : asks for the pass phrase that the key is sealed under; the key never lies open then
    open_seed : for demonstrations and tests, orders and codes that anybody can make again; the plan says so

    Raises
    ------
    StudyError
        Answers were already given to an earlier deal and no reason is given, a stimulus was altered, the
        protocol changed since `prepare`, a sitting is open, or another deal is at work.
    """
    sits = f"{study.station}: a sitting is open here; close it, then deal again"
    deals = f"{study.root}: another deal is at work here; wait until it is done"
    with hold.alone(study.root, deals):
        versions.settle(study)
        with hold.alone(study.station, sits):
            drawn = _Drawn(secret or _secret(open_seed), open_seed, keyholder)
            return _deal(study, again, drawn, dealt_at=dealt_at, on_progress=on_progress)


@dataclass(frozen=True)
class _Drawn:
    """What a deal hangs on, and who keeps it."""

    secret: str
    open_seed: int | None
    keyholder: Callable[[], str] | None


def _deal(
    study: Study,
    again: str,
    drawn: _Drawn,
    *,
    dealt_at: str | None,
    on_progress: Callable[[int, int], None] | None,
) -> tuple[Plan, list[balance.Line]]:
    if study.answers.exists() and not again:
        raise StudyError(
            f"{study.answers}: answers exist for this deal; start a new study folder, or deal a new version "
            f'with its reason: listening deal {study.root} --again "why"'
        )
    versions.history(study)  # refused before anything moves, if it cannot be read
    chosen, manifest = protocol.load(study.protocol), Manifest.load(study.manifest)
    digest = protocol.digest(study.protocol)
    if chosen.stages:
        raise StudyError(
            f"{study.protocol}: has late stages, which `listening amend` adds to a dealt study; for a "
            "new deal, drop [[stages]] and the key `stage` of blocks, controls and questions"
        )
    if manifest.protocol_digest != digest:
        raise StudyError(
            f"{study.protocol}: changed since the stimuli were made; run: listening prepare {study.root}"
        )
    dealt_at = dealt_at or datetime.now(UTC).isoformat(timespec="seconds")
    has_answers = study.answers.exists() or study.server.exists()
    number = versions.next_number(study) + has_answers
    dealt = design.deal(
        chosen,
        manifest,
        protocol_digest=digest,
        secret=drawn.secret,
        open_seed=drawn.open_seed,
        dealt_at=dealt_at,
        study_version=number,
    )
    sealed = key_sealing.seal(dealt.key, drawn.keyholder()) if drawn.keyholder is not None else None
    if has_answers:
        _refuse_open_sittings(study)
        versions.set_aside(study, again)
    plan = _write(study, dealt, manifest, on_progress, sealed=sealed, reason=again)
    condition = {s.stimulus: s.condition for s in manifest.stimuli}
    ordered = slots.of_study(chosen, manifest, Draws(dealt.key.secret))
    return plan, balance.report(ordered, condition)


def _secret(open_seed: int | None) -> str:
    return secrets.token_hex(SECRET_DIGITS // 2) if open_seed is None else open_secret(open_seed)


def _refuse_open_sittings(study: Study) -> None:
    """A server knows by its leases who sits, at whichever booth."""
    if not study.server.exists():
        return
    from listening.store import open_store, place_of

    store = open_store(place_of(study))
    held = store.n_held()
    store.close()
    if held:
        raise StudyError(
            f"{study.server}: {held} sittings are open at booths now; close them, or wait two minutes for "
            "the lease of one that died, then deal again; nothing was changed"
        )


def _write(
    study: Study,
    dealt: design.Dealt,
    manifest: Manifest,
    on_progress: Callable[[int, int], None] | None,
    *,
    sealed: key_sealing.SealedKey | None,
    reason: str,
) -> Plan:
    from listening.stimuli import coded_clips

    study.plan.unlink(missing_ok=True)
    shutil.rmtree(study.amendments(1).parent, ignore_errors=True)  # of a deal that nobody answered
    _write_key(study, dealt.key, sealed)
    files = {study.stimuli / s.file: s.digest for s in manifest.stimuli}
    aligned = dealt.plan.switched()
    sounds = {
        code: coded_clips.Coded(
            study.stimuli / manifest.of(h.stimulus).file,
            h.gain_db,
            source=manifest.of(h.stimulus).recording,
            is_aligned=code in aligned,
        )
        for code, h in dealt.heard.items()
    }
    digests = coded_clips.write(
        study.clips, sounds, secret=dealt.key.secret, expected=files, on_progress=on_progress
    )
    _keep_calibration(study)
    plan = design.with_clips(dealt.plan, digests)
    write_text(study.frozen_protocol, read_text(study.protocol))
    write_text(study.frozen_manifest, read_text(study.manifest))
    text = plan.file_text()
    dealt_now = {"study_digest": plan.study_digest, "dealt_at": plan.dealt_at}
    frozen.freeze(study, **dealt_now, stimuli=sorted(files), plan_text=text).save(study.frozen)
    versions.note(study, **dealt_now, reason=reason)
    _into_record(study, plan, reason)
    write_text(study.plan, text)
    return plan


def _write_key(study: Study, key: Key, sealed: key_sealing.SealedKey | None) -> None:
    """One of the two, and nothing of an earlier deal that nobody answered."""
    if sealed is None:
        key.save(study.key, private=True)
        study.sealed_key.unlink(missing_ok=True)
    else:
        sealed.save(study.sealed_key, private=True)
        study.key.unlink(missing_ok=True)


def _into_record(study: Study, plan: Plan, reason: str) -> None:
    """The deal as the record of the study tells it, with the hashes of the lists that went with it."""
    told = {
        "study": plan.study_digest,
        "version": plan.study_version,
        "reason": reason,
        "frozen": frozen.file_digest(study.frozen),
        "history": frozen.file_digest(study.history),
        "open_seed": plan.open_seed,
        "steps": study.steps.stat().st_size if study.steps.is_file() else 0,
        "steps_digest": frozen.file_digest(study.steps),
        "key": "open" if study.key.is_file() else "pass phrase",
    }
    record.append(study.record, at=plan.dealt_at, kind="dealt", told=told)


def _keep_calibration(study: Study) -> None:
    """The headphones are the same after a new deal."""
    before = versions.latest(study)
    if before is not None and before.level.is_file() and not study.level.exists():
        write_text(study.level, read_text(before.level))
