"""Deal a study: orders for every slot, the plan without names, the key with them."""

import hashlib
import hmac
from base64 import b32encode
from collections.abc import Iterable
from dataclasses import dataclass

from listening import __version__
from listening.design import slots
from listening.design.dealt_trial import Heard
from listening.design.draws import Draws
from listening.design.order import Ordered
from listening.errors import StudyError
from listening.records.dealt.plan import ClipFile, Plan, PlannedAttribute, PlannedTrial, Slot
from listening.records.dealt.secret import keyed
from listening.records.keys.key import Key, KeyedClip, Role
from listening.records.kinds import tasks
from listening.records.protocols.protocol import Protocol
from listening.records.protocols.protocol_parts import Attribute
from listening.records.sounds.manifest import Manifest

CODE_LETTERS = 8  # 40 bit: 500 clips collide with probability 1e-7, and a collision is refused
LEVEL_CHECK: Role = "level check"


@dataclass(frozen=True)
class Dealt:
    """A plan for the station and the key that stays away from it."""

    plan: Plan
    key: Key
    heard: dict[str, Heard]
    """What each clip code plays."""


def deal(
    protocol: Protocol,
    manifest: Manifest,
    *,
    protocol_digest: str,
    secret: str,
    dealt_at: str,
    study_version: int = 1,
    open_seed: int | None = None,
    orders_secret: str | None = None,
    level_place: str = LEVEL_CHECK,
) -> Dealt:
    """Plan and key for all slots, without clip hashes (they come once the clips are written).

    Parameters
    ----------
    secret : 32 hexadecimal digits
        Orders, codes and the sealed hash come from it, and it lies in the key alone.
    orders_secret : what a late stage's orders come from; None: the secret
    level_place : what the code of the clip that the level is set with comes from
    open_seed : noted in the plan where the secret is `draws.open_secret` of it: everybody can make it again

    Raises
    ------
    StudyError
        A block or control has nothing to compare, or two clips got the same code.
    """
    draws = Draws(orders_secret or secret)
    ordered = slots.of_study(protocol, manifest, draws)
    heard = _all_heard(protocol, manifest, ordered, level_place)
    codes = {place: code(secret, place) for place in heard}
    if len(set(codes.values())) != len(codes):
        raise StudyError("two clips got the same code: deal again (a new secret is drawn)")
    key = _key(manifest, secret, heard, codes, level_place)
    cells = slots.cells(protocol, manifest, len(ordered), draws)
    coded = tuple(_slot(i, trials, codes, cells[i]) for i, trials in enumerate(ordered))
    attributes = tuple(_attribute(a, manifest, codes) for a in protocol.attributes)
    digests = (protocol_digest, manifest.digest(), key.sealed_digest())
    plan = Plan(
        version=__version__,
        protocol_digest=digests[0],
        manifest_digest=digests[1],
        key_digest=digests[2],
        study_digest="",
        study_version=study_version,
        dealt_at=dealt_at,
        station_seed=b32encode(keyed(secret, "station")).decode().lower().rstrip("="),
        open_seed=open_seed,
        is_chained=True,
        rate_hz=manifest.rate_hz,
        level_check_clip=codes[level_place],
        sitting=protocol.sitting,
        attributes=attributes,
        clips=(),
        slots=coded,
        listeners=protocol.panel.listeners,
        sessions_apart_h=protocol.sessions.apart_at_least_h,
    )
    return Dealt(plan.sealed(), key, {codes[place]: sound for place, sound in heard.items()})


def with_clips(plan: Plan, digests: dict[str, str]) -> Plan:
    """The plan with the hash of each written clip file, in code order."""
    clips = tuple(ClipFile(clip=clip, digest=digests[clip]) for clip in sorted(digests))
    return plan.model_copy(update={"clips": clips}).sealed()


def code(secret: str, place: str) -> str:
    """The code of a clip: keyed hash of what it is, so that it tells nothing without the secret."""
    mac = hmac.new(bytes.fromhex(secret), f"clip:{place}".encode(), hashlib.sha256).digest()
    return b32encode(mac).decode().lower()[:CODE_LETTERS]


def _all_heard(
    protocol: Protocol, manifest: Manifest, ordered: Iterable[Ordered], level_place: str
) -> dict[str, Heard]:
    heard: dict[str, Heard] = {}
    for slot in ordered:
        for _, trial in slot:
            heard.update({_place(sound): sound for sound in trial.every})
    heard.update(
        {_place(Heard(s.stimulus)): Heard(s.stimulus) for s in manifest.stimuli if s.role == "example"}
    )
    # the level is set on the strongest clip, under a code of its own, so that no later clip surprises
    in_study = {sound.stimulus for sound in heard.values()}
    loudest = max(
        (s for s in manifest.stimuli if s.stimulus in in_study), key=lambda s: s.after["laf_max_db"] or 0.0
    )
    heard[level_place] = Heard(loudest.stimulus, copy=1)
    return heard


def _place(sound: Heard) -> str:
    copy = f"#{sound.copy}" if sound.copy else ""
    return f"{sound.stimulus}|{sound.gain_db:+.3f}{copy}"


def _key(
    manifest: Manifest, secret: str, heard: dict[str, Heard], codes: dict[str, str], level_place: str
) -> Key:
    clips = []
    for place, sound in heard.items():
        stimulus = manifest.of(sound.stimulus)
        role: Role = LEVEL_CHECK if place == level_place else "control" if sound.gain_db else stimulus.role
        clips.append(
            KeyedClip(
                clip=codes[place],
                stimulus=sound.stimulus,
                condition=stimulus.condition,
                presentation=stimulus.presentation,
                role=role,
                gain_db=sound.gain_db,
            )
        )
    return Key(secret=secret, clips=tuple(sorted(clips, key=lambda clip: clip.clip)))


def _slot(number: int, ordered: Ordered, codes: dict[str, str], cell: tuple[int, ...]) -> Slot:
    planned = tuple(
        PlannedTrial(
            trial=f"{i + 1:03d}",
            attribute=made.attribute,
            clips=tuple(codes[_place(sound)] for sound in made.sounds),
            practice=practice,
            reference=codes[_place(made.reference)] if made.reference else None,
            follows=made.follows,
            start_gain_db=made.start_gain_db,
            session=made.session,
        )
        for i, (practice, made) in enumerate(ordered)
    )
    return Slot(slot=number, trials=planned, cell=cell)


def _attribute(attribute: Attribute, manifest: Manifest, codes: dict[str, str]) -> PlannedAttribute:
    ends = {
        s.end: codes[_place(Heard(s.stimulus))]
        for s in manifest.stimuli
        if s.role == "example" and s.attribute == attribute.name
    }
    return PlannedAttribute(
        name=attribute.name,
        task=attribute.task,
        wording=attribute.wording,
        explanation=attribute.explanation,
        no_difference=attribute.no_difference,
        scale=tuple(attribute.scale),
        scale_bands=attribute.scale_labels == "bands",
        switching=attribute.listening == "switching" or tasks.named(attribute.task).always_switching,
        switching_to=attribute.switching_to,
        loops=attribute.loops,
        example_more=ends.get("more"),
        example_less=ends.get("less"),
    )
