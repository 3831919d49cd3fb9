"""Attack: whoever has the station folder and the protocol deals the study again and reads the names off.

Before orders came from the secret, it found the same stimuli in the same order in 2,064 of 2,064 trials of
the bells protocol, and named 78 of 78 clips.
"""

import hashlib
import hmac
from collections.abc import Callable

import pytest

from listening.design import dealing as design
from listening.design.draws import Draws, open_secret
from listening.records.dealt.plan import Plan
from listening.records.dealt.secret import keyed
from listening.records.keys.key import Key
from listening.records.protocols.protocol import Protocol
from listening.records.sounds.manifest import Manifest
from tests import bells

SECRET, OTHER_SECRET = "0123456789abcdef" * 2, "fedcba9876543210" * 2
Replay = Callable[[Protocol, Manifest, Plan], design.Dealt]


def _hex(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()[:32]


def dealt(protocol: Protocol, manifest: Manifest, secret: str) -> design.Dealt:
    """One deal of the protocol."""
    return design.deal(protocol, manifest, protocol_digest="1" * 64, secret=secret, dealt_at="2030-01-01")


def named(plan: Plan, again: design.Dealt) -> dict[str, str]:
    """What the attack says of each clip of the plan: the stimulus at its place in the deal made again."""
    said: dict[str, str] = {}
    for slot, other in zip(plan.slots, again.plan.slots, strict=True):
        for trial, twin in zip(slot.trials, other.trials, strict=True):
            for clip, known in zip(trial.clips, twin.clips, strict=True):
                said.setdefault(clip, again.heard[known].stimulus)
    return said


def n_right(said: dict[str, str], key: Key) -> int:
    """Of the clips named, how many are what was said."""
    is_it = {clip.clip: clip.stimulus for clip in key.clips}
    return sum(is_it[clip] == stimulus for clip, stimulus in said.items())


def n_same_order(one: design.Dealt, other: design.Dealt) -> int:
    """Trials with the same stimuli in the same order at the same place."""
    pairs = zip(one.plan.slots, other.plan.slots, strict=True)
    return sum(
        [one.heard[c] for c in a.clips] == [other.heard[c] for c in b.clips]
        for mine, theirs in pairs
        for a, b in zip(mine.trials, theirs.trials, strict=True)
    )


REPLAYS: dict[str, Replay] = {
    "with any secret": lambda p, m, _: dealt(p, m, OTHER_SECRET),
    "with the seed in the plan": lambda p, m, plan: dealt(p, m, _hex(plan.station_seed)),
    "with the hash of the key": lambda p, m, plan: dealt(p, m, plan.key_digest[:32]),
    "with the seed of the protocol": lambda p, m, _: dealt(p, m, open_secret(p.seed)),
}


@pytest.mark.parametrize("name", list(REPLAYS))
def test_a_deal_made_again_names_no_more_clips_than_guessing(name: str) -> None:
    protocol, manifest = bells.chosen(8), bells.manifest()
    mine = dealt(protocol, manifest, SECRET)
    again = REPLAYS[name](protocol, manifest, mine.plan)
    # Guessing names a clip right in about 1 of 36; 72 tries give more than 10 once in 100,000 (binomial).
    assert n_right(named(mine.plan, again), mine.key) <= 10
    # Two conditions in order at a place, by chance: 1 of 30 designs, 1 of 9 strikes.
    n_trials = sum(len(slot.trials) for slot in mine.plan.slots)
    assert n_same_order(mine, again) <= 0.03 * n_trials


def test_the_attack_names_every_clip_where_the_secret_is_known() -> None:
    protocol, manifest = bells.chosen(8), bells.manifest()
    mine = dealt(protocol, manifest, SECRET)
    again = dealt(protocol, manifest, SECRET)
    said = named(mine.plan, again)
    assert n_right(said, mine.key) == len(said) > 50
    assert n_same_order(mine, again) == sum(len(slot.trials) for slot in mine.plan.slots)


def test_the_plan_and_the_secret_share_no_text() -> None:
    mine = dealt(bells.chosen(8), bells.manifest(), SECRET)
    assert SECRET not in mine.plan.to_json()
    assert keyed(SECRET, "slot", 0).hex() not in mine.plan.to_json()
    assert keyed(SECRET, "station") != keyed(SECRET, "slot", 0)


def test_purposes_and_parts_are_never_confused() -> None:
    assert keyed(SECRET, "a", "bc") != keyed(SECRET, "ab", "c") != keyed(SECRET, "a", "b", "c")
    first, again = (Draws(SECRET).of("slot", 1).integers(2**62) for _ in range(2))
    assert first == again != Draws(SECRET).of("slot", 2).integers(2**62)


def test_the_keyed_bytes_are_those_of_the_standard() -> None:
    # RFC 4231, test case 2: key "Jefe"; the message there is "what do ya want for nothing?" (from memory)
    printed = "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"
    assert hmac.new(b"Jefe", b"what do ya want for nothing?", hashlib.sha256).hexdigest() == printed
    assert keyed(SECRET, "slot", 7) == hmac.digest(bytes.fromhex(SECRET), b"4:slot,1:7,", "sha256")
