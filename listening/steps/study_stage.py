"""A late stage of a dealt study: stimuli, clips, key and slots made, then written beside what is there."""

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from listening.design import dealing, stage_deal
from listening.errors import StudyError
from listening.records.dealt.plan import Plan
from listening.records.forms.form import write_bytes, write_text
from listening.records.forms.text import read_text
from listening.records.keys import key_sealing
from listening.records.keys.key import Key
from listening.records.keys.key_sealing import SealedKey
from listening.records.protocols import protocol as protocol_form
from listening.records.protocols.protocol import Protocol
from listening.records.sounds.manifest import Manifest
from listening.records.study import Study

ROOM = ".stage-new"  # beside the stimuli; what a cut left there is made again


@dataclass(frozen=True)
class Before:
    """What the stage is added to."""

    plan: Plan
    """With whatever else the amendment changes."""
    manifest: Manifest
    key_file: Path


@dataclass(frozen=True)
class Added:
    """The stage, made and not yet in its place."""

    plan: Plan
    manifest: Manifest
    key: Key
    sealed: SealedKey | None
    """The key under the pass phrase, where it lay so."""
    new_stimuli: tuple[Path, ...]
    new_clips: tuple[Path, ...]


@contextmanager
def room(study: Study) -> Iterator[Path]:
    """A folder to make things in, gone at the end."""
    folder = study.root / ROOM
    shutil.rmtree(folder, ignore_errors=True)
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def made(study: Study, chosen: Protocol, before: Before, *, number: int, room: Path) -> Added:
    """The stage of that number, in `room`; nothing of the study is touched.

    Raises
    ------
    ListeningError
        It cannot be added, with the reason: recordings that do not join the set, nothing to compare, a key
        that nobody opens.
    """
    key, phrase = _key(study, before.key_file)
    manifest = _manifest(study, chosen, before.manifest, room)
    digest = protocol_form.digest(study.protocol)
    dealt = stage_deal.deal(before.plan, key, chosen, manifest, number=number, protocol_digest=digest)
    known = {s.file for s in before.manifest.stimuli}
    stimuli = tuple(room / s.file for s in manifest.stimuli if s.file not in known)
    clips = _clips(study, dealt, before, manifest, room=room)
    plan = dealing.with_clips(dealt.plan, {c.clip: c.digest for c in before.plan.clips} | clips)
    sealed = None if phrase is None else key_sealing.seal(dealt.key, phrase)
    return Added(plan, manifest, dealt.key, sealed, stimuli, tuple(room / f"{code}.wav" for code in clips))


def write(study: Study, added: Added) -> None:
    """Put everything but the plan in its place, each file whole or not at all."""
    for path in added.new_stimuli:
        write_bytes(study.stimuli / path.name, path.read_bytes())
    for path in added.new_clips:
        write_bytes(study.clips / path.name, path.read_bytes())
    added.manifest.save(study.manifest)
    write_text(study.frozen_manifest, read_text(study.manifest))
    if added.sealed is None:
        added.key.save(study.key, private=True)
    else:
        added.sealed.save(study.sealed_key, private=True)
    shutil.rmtree(study.root / ROOM, ignore_errors=True)  # before the plan: no cut after it leaves anything


def _key(study: Study, key_file: Path) -> tuple[Key, str | None]:
    """The key of before, and the phrase it was sealed under."""
    if key_file.name == study.key.name:
        return Key.load(key_file), None
    if study.passphrase is None:
        raise StudyError(
            f"{key_file}: sealed under a pass phrase, and a stage adds clips to it; run this in a terminal "
            "with whoever holds the phrase, or give it with --passphrase-fd"
        )
    phrase = study.passphrase()
    return key_sealing.unseal(SealedKey.load(key_file), phrase, str(key_file)), phrase


def _manifest(study: Study, chosen: Protocol, before: Manifest, room: Path) -> Manifest:
    from listening.stimuli import added_stimuli

    room.mkdir(parents=True, exist_ok=True)
    if added_stimuli.added(study, chosen, before):
        return added_stimuli.write(study, chosen, before, room)
    return before.model_copy(update={"protocol_digest": protocol_form.digest(study.protocol)})


def _clips(
    study: Study, dealt: dealing.Dealt, before: Before, manifest: Manifest, *, room: Path
) -> dict[str, str]:
    """The new coded clips, in the room; the SHA-256 of each."""
    from listening.stimuli import coded_clips

    aligned = dealt.plan.switched()
    known = {s.file for s in before.manifest.stimuli}

    def coded(stimulus: str, gain_db: float, code: str) -> coded_clips.Coded:
        made = manifest.of(stimulus)
        folder = study.stimuli if made.file in known else room
        return coded_clips.Coded(
            folder / made.file, gain_db, source=made.recording, is_aligned=code in aligned
        )

    there = {clip.clip for clip in before.plan.clips}
    old = {c.clip: coded(c.stimulus, c.gain_db, c.clip) for c in dealt.key.clips if c.clip in there}
    new = {code: coded(heard.stimulus, heard.gain_db, code) for code, heard in dealt.heard.items()}
    if not new:
        return {}
    expected = {(study.stimuli if s.file in known else room) / s.file: s.digest for s in manifest.stimuli}
    return coded_clips.add(room, study.clips, new, beside=old, secret=dealt.key.secret, expected=expected)
