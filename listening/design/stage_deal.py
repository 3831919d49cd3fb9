"""A late stage of a dealt study: its slots, codes and key, joined to those that are there."""

import hashlib
import hmac

from listening.design import dealing
from listening.design.dealing import Dealt
from listening.errors import StudyError
from listening.records.dealt.plan import Plan, PlannedStage
from listening.records.keys.key import Key, KeyedClip
from listening.records.protocols.protocol import Protocol
from listening.records.sounds.manifest import Manifest

SECRET_DIGITS = 32


def deal(
    plan: Plan, key: Key, protocol: Protocol, manifest: Manifest, *, number: int, protocol_digest: str
) -> Dealt:
    """The plan and key with the stage's slots and clips behind what was dealt before; nothing old changes.

    Parameters
    ----------
    protocol : the whole amended protocol
    manifest : with the stimuli that were added
    number : of the stage, from 2

    Raises
    ------
    StudyError
        A block or control of the stage has nothing to compare, or two clips got the same code.
    """
    own = protocol.of_stage(number)
    fresh = dealing.deal(
        own,
        manifest,
        protocol_digest=protocol_digest,
        secret=key.secret,
        orders_secret=_secret(key.secret, number),
        level_place=f"level check of stage {number}",
        dealt_at=plan.dealt_at,
    )
    added = _added(plan, key, fresh, manifest)
    joined = Key(secret=key.secret, clips=tuple(sorted((*key.clips, *added), key=_code)))
    first = len(plan.slots)
    slots = tuple(
        slot.model_copy(update={"slot": first + slot.slot, "stage": number}) for slot in fresh.plan.slots
    )
    stage = PlannedStage(stage=number, first_slot=first, listeners=own.panel.listeners)
    new = {clip.clip for clip in added}
    level_clip = fresh.plan.level_check_clip
    changes = {
        "protocol_digest": protocol_digest,
        "manifest_digest": manifest.digest(),
        "key_digest": joined.sealed_digest(),
        "slots": (*plan.slots, *slots),
        "stages": (*plan.stages, stage),
        "level_check_clip": level_clip if level_clip in new else plan.level_check_clip,
    }
    heard = {code: sound for code, sound in fresh.heard.items() if code in new}
    return Dealt(plan.model_copy(update=changes), joined, heard)


def _added(plan: Plan, key: Key, fresh: Dealt, manifest: Manifest) -> list[KeyedClip]:
    """The clips that were not there; a new one to set the level with only where it is louder than the old."""
    known = {clip.clip: clip for clip in key.clips}
    loud = {clip.clip: manifest.of(clip.stimulus).after["laf_max_db"] or 0.0 for clip in fresh.key.clips}
    level_db = manifest.of(known[plan.level_check_clip].stimulus).after["laf_max_db"] or 0.0
    added = []
    for clip in fresh.key.clips:
        if clip.clip in known and known[clip.clip] != clip:
            raise StudyError("two clips got the same code: deal a new version instead")
        is_softer = clip.clip == fresh.plan.level_check_clip and loud[clip.clip] <= level_db
        if clip.clip not in known and not is_softer:
            added.append(clip)
    return added


def _secret(secret: str, number: int) -> str:
    """What the stage's orders come from: nobody can tell it without the secret."""
    mac = hmac.new(bytes.fromhex(secret), f"orders of stage {number}".encode(), hashlib.sha256)
    return mac.hexdigest()[:SECRET_DIGITS]


def _code(clip: KeyedClip) -> str:
    return clip.clip
