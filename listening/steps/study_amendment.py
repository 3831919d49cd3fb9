"""An amendment: a dealt study goes on with a changed protocol and keeps the answers it has.

The plan comes last. What was there before lies in sealed/amendments/N from the first step on, so that an
amendment that was cut off is made again from there.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from listening.errors import StudyError
from listening.records.dealt import amendable, record
from listening.records.dealt.amendable import Refused
from listening.records.dealt.amendment import Amendment, Change
from listening.records.dealt.plan import Amended, Plan
from listening.records.forms import frozen
from listening.records.forms.form import digest_of, write_bytes, write_text
from listening.records.forms.frozen import Frozen, FrozenFile, History
from listening.records.forms.text import read_text
from listening.records.protocols import protocol as protocol_form
from listening.records.protocols.protocol import Protocol, Question
from listening.records.protocols.stages import FIRST
from listening.records.sounds.manifest import Manifest
from listening.records.study import Study
from listening.steps import study_stage
from listening.store import hold, open_store, place_of, releasing

EVERY_PAIR = ("all", "rotating", "blocks")  # blocks in which each pair is heard by somebody


@dataclass(frozen=True)
class _Before:
    """The study as it stands before the amendment."""

    protocol: Protocol
    plan: Plan
    frozen: Frozen
    manifest: Manifest
    key_file: Path
    """Where the key of before lies: in its place, or kept."""


@dataclass(frozen=True)
class _After:
    """What an amendment writes."""

    plan: Plan
    stage: study_stage.Added | None = None
    """The stage that it adds."""


def amend(study: Study, reason: str, *, now: str | None = None) -> Amendment:
    """Take the changes in protocol.toml into the dealt study; see `amendable` for what may change until when.

    Parameters
    ----------
    now : UTC, ISO 8601; None: the clock's

    Raises
    ------
    StudyError
        Nothing was changed, a change may not be made, something is not what was dealt, a sitting is open, or
        the answers lie on a server. Nothing is changed then.
    """
    _check_asked(study, reason)
    sits = f"{study.station}: a sitting is open here; close it, then amend"
    with hold.alone(
        study.root, f"{study.root}: a deal or an amendment is at work here; wait until it is done"
    ):
        number = len(Plan.load(study.plan).amends) + 1
        _check_dealt(study, number)
        before = _before(study, number)
        chosen = protocol_form.load(study.protocol)
        changes = _allowed(study, before, chosen)
        stage = amendable.added_stage(before.protocol, chosen)
        with hold.alone(study.station, sits), study_stage.room(study) as room:
            plan = _amended_plan(before.plan, chosen, study, changes)
            after = _After(plan)
            if stage is not None:  # whatever refuses it does so before anything is kept or written
                old = study_stage.Before(plan, before.manifest, before.key_file)
                added = study_stage.made(study, chosen, old, number=stage, room=room)
                after = _After(added.plan, added)
            _keep(study, number)
            at = now or datetime.now(UTC).isoformat(timespec="seconds")
            made = _noted(study, before, after.plan, changes, number=number, reason=reason, at=at)
            _write(study, before, after, made)
    return made


def changed(study: Study) -> tuple[list[Change], list[Refused]]:
    """What the protocol at hand would change, and what of it may not be; nothing is written."""
    before = _before(study, len(Plan.load(study.plan).amends) + 1)
    return _sorted_out(study, before, protocol_form.load(study.protocol))


def _check_asked(study: Study, reason: str) -> None:
    if not study.frozen.is_file():
        raise StudyError(f"{study.root}: nothing is dealt yet: change the protocol, nothing is lost")
    if len(reason.split()) < 2:
        raise StudyError(f'an amendment needs its reason in words, found "{reason}"')
    if study.server.exists():
        raise StudyError(
            f"{study.server}: the answers lie on a server that booths read the plan's hash from; bring them "
            "into a file (listening copy), amend here, then share the study again. Nothing was changed"
        )


def _check_dealt(study: Study, number: int) -> None:
    """Everything but the protocol is what was dealt; after a cut the kept files stand for those written."""
    if study.amendments(number).is_dir():
        return
    if fault := frozen.of_list(study):
        raise StudyError(f"{fault}. Nothing was changed")
    for one in Frozen.load(study.frozen).files:
        path = study.root / one.file
        found = frozen.file_digest(path)
        if path != study.protocol and found != one.digest and not (one.what == "stimulus" and not found):
            raise StudyError(f"{path}: the {one.what} is not the one that was dealt; restore it first")
    dealt = Plan.load(study.plan).protocol_digest
    if protocol_form.digest(study.frozen_protocol) != dealt:
        raise StudyError(f"{study.frozen_protocol}: not the protocol that was dealt; restore it first")


def _before(study: Study, number: int) -> _Before:
    kept = study.amendments(number)
    files = [study.frozen_protocol, study.plan, study.frozen, study.frozen_manifest, study.key_file]
    if kept.is_dir():
        files = [kept / path.name if (kept / path.name).is_file() else path for path in files]
    return _Before(
        protocol_form.load(files[0]),
        Plan.load(files[1]),
        Frozen.load(files[2]),
        Manifest.load(files[3]),
        files[4],
    )


def _keep(study: Study, number: int) -> None:
    """The folder appears whole or not at all."""
    kept = study.amendments(number)
    if kept.is_dir():
        return
    making = kept.with_name(f".{number}.new")
    for source in (study.frozen_protocol, study.plan, study.frozen, study.frozen_manifest):
        write_bytes(making / source.name, source.read_bytes())
    write_bytes(making / study.key_file.name, study.key_file.read_bytes(), private=True)
    making.rename(kept)


def _allowed(study: Study, before: _Before, chosen: Protocol) -> list[Change]:
    changes, refused = _sorted_out(study, before, chosen)
    if refused:
        lines = [f"  {one.key}: {one.why}" for one in refused]
        raise StudyError(
            f"{study.protocol}: {len(refused)} changes may not be made in a dealt study:\n"
            + "\n".join(lines)
            + f"\ntake them back (the dealt protocol lies in {study.frozen_protocol}), or deal a new "
            f'version: listening deal {study.root} --again "why". Nothing was changed'
        )
    if not changes:
        raise StudyError(
            f"{study.protocol}: says the same as the protocol that was dealt; change it first, then amend"
        )
    return changes


def _sorted_out(study: Study, before: _Before, chosen: Protocol) -> tuple[list[Change], list[Refused]]:
    dealt = {s.condition for s in before.manifest.stimuli if s.role == "study"}
    is_opened = _openings(study) > 0
    changes, refused = amendable.changes(before.protocol, chosen, conditions=dealt, is_opened=is_opened)
    return changes, [*refused, *_not_dealt(before, chosen, dealt)]


def _not_dealt(before: _Before, chosen: Protocol, known: set[str]) -> Iterator[Refused]:
    """What the new protocol wants and the deal cannot give."""
    if chosen.panel.listeners > len(before.plan.slots):
        yield Refused("panel.listeners", f"the deal has {len(before.plan.slots)} slots")
    for question in chosen.of_stage(FIRST).questions:
        names = set(question.contrast.conditions)
        if question not in before.protocol.questions and not _is_heard(before.protocol, question, known):
            yield Refused(f"questions[{question.id}]", f"nobody was dealt {' and '.join(sorted(names))}")
    for asked in chosen.superlatives:
        if asked.condition not in known:
            yield Refused(f"superlatives[{asked.id}]", f"nobody was dealt {asked.condition}")


def _is_heard(old: Protocol, question: Question, known: set[str]) -> bool:
    """Whether listeners meet the pair of a question in the deal."""
    pairs = [set(pair) for pair in question.contrast.pairs]
    blocks = [
        b for b in old.blocks if (b.attribute, b.presentation) == (question.attribute, question.presentation)
    ]
    if not set(question.contrast.conditions) <= known or not blocks:
        return False
    planned = [set(pair) for q in old.questions if _same_place(q, question) for pair in q.contrast.pairs]
    return any(b.pairs in EVERY_PAIR for b in blocks) or all(pair in planned for pair in pairs)


def _same_place(one: Question, other: Question) -> bool:
    return (one.attribute, one.presentation) == (other.attribute, other.presentation)


def _openings(study: Study) -> int:
    entries = record.load(study.record)
    dealt = max((entry.n for entry in entries if entry.kind == "dealt"), default=0)
    return sum(entry.kind == "opening" and entry.n > dealt for entry in entries)


def _amended_plan(old: Plan, chosen: Protocol, study: Study, changes: list[Change]) -> Plan:
    """The same slots, clips and key under the changed words and numbers."""
    is_other = any(change.scope == "wording" for change in changes)
    adds_stage = any(change.scope == "stage" for change in changes)
    replaced = Amended(study_digest=old.study_digest, is_same_wording=True, adds_stage=adds_stage)
    before = [*old.amends, replaced]
    amends = [
        one.model_copy(update={"is_same_wording": one.is_same_wording and not is_other}) for one in before
    ]
    words = {a.name: a for a in chosen.attributes}
    attributes = [
        asked.model_copy(
            update={
                "wording": words[asked.name].wording,
                "explanation": words[asked.name].explanation,
                "scale": tuple(words[asked.name].scale),
            }
        )
        for asked in old.attributes
    ]
    updates = {
        "protocol_digest": protocol_form.digest(study.protocol),
        "amends": tuple(amends),
        "attributes": tuple(attributes),
        "sitting": chosen.sitting,
        "listeners": chosen.panel.listeners,
    }
    return old.model_copy(update=updates).sealed()


def _noted(
    study: Study,
    before: _Before,
    plan: Plan,
    changes: list[Change],
    *,
    number: int,
    reason: str,
    at: str,
) -> Amendment:
    """The amendment as it is told; made again after a cut, it keeps its first time."""
    history = History.load(study.history) if study.history.is_file() else History()
    known = [one for one in history.amendments if one.study_digest == plan.study_digest]
    begun, finished = _sittings(study)
    return Amendment(
        number=number,
        at=known[0].at if known else at,
        reason=reason,
        before=before.plan.study_digest,
        study_digest=plan.study_digest,
        changes=tuple(changes),
        begun=begun,
        finished=finished,
        openings=_openings(study),
    )


def _sittings(study: Study) -> tuple[int, int]:
    if not study.answers.is_file():
        return 0, 0
    store = open_store(place_of(study), create=False)
    try:
        rows = store.sittings()
    finally:
        store.close()
    return len(rows), sum(row.finished_at is not None for row in rows)


def _write(study: Study, before: _Before, after: _After, made: Amendment) -> None:
    """Slots, what a stage brings, lists, record; the plan last."""
    plan = after.plan
    if made.is_other_wording and study.answers.is_file():
        store = open_store(place_of(study), create=False)
        try:
            releasing.release(store, before.plan.digests)
        finally:
            store.close()
    history = History.load(study.history) if study.history.is_file() else History()
    others = tuple(one for one in history.amendments if one.before != made.before)
    history.model_copy(update={"amendments": (*others, made)}).save(study.history)
    if after.stage is not None:
        study_stage.write(study, after.stage)
    text = plan.file_text()
    _frozen_again(study, before.frozen, plan, text).save(study.frozen)
    write_text(study.frozen_protocol, read_text(study.protocol))
    _into_record(study, made)
    write_text(study.plan, text)


def _frozen_again(study: Study, dealt: Frozen, plan: Plan, text: str) -> Frozen:
    """The list of what was dealt, with the changed protocol and plan."""
    changed_files: dict[Path, str] = {
        study.protocol: frozen.file_digest(study.protocol),
        study.plan: digest_of(text),
        study.manifest: frozen.file_digest(study.manifest),
        study.key_file: frozen.file_digest(study.key_file),
    }
    files = [
        FrozenFile(file=f.file, what=f.what, digest=changed_files.get(study.root / f.file, f.digest))
        for f in dealt.files
    ]
    listed = {one.file for one in files}
    for stimulus in Manifest.load(study.manifest).stimuli:
        path = study.stimuli / stimulus.file
        name = path.relative_to(study.root).as_posix()
        if name not in listed:
            files.append(FrozenFile(file=name, what="stimulus", digest=frozen.file_digest(path)))
    return dealt.model_copy(update={"study_digest": plan.study_digest, "files": tuple(files)})


def _into_record(study: Study, made: Amendment) -> None:
    told = {
        "study": made.study_digest,
        "frozen": frozen.file_digest(study.frozen),
        "history": frozen.file_digest(study.history),
        **made.model_dump(mode="json", exclude={"study_digest"}),
    }
    entries = record.load(study.record)
    if not any(entry.kind == "amended" and entry.told == told for entry in entries):
        record.append(study.record, at=made.at, kind="amended", told=told)
