"""The deal: blind, sealed, the same bytes from the same secret."""

import json
from collections import Counter
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from listening.design import dealing, slots
from listening.design.draws import Draws
from listening.errors import StudyError
from listening.records.keys.key import Key
from listening.records.protocols.protocol import Protocol
from listening.records.sounds.manifest import Manifest

Maker = Callable[..., tuple[Protocol, Manifest]]
SECRET = "0123456789abcdef" * 2
OTHER_SECRET = "fedcba9876543210" * 2
CONTROLS = [{"attribute": "brightness", "gains_db": [0.0, 3.0], "repeats": 2}]


def _deal(made: tuple[Protocol, Manifest], secret: str = SECRET) -> dealing.Dealt:
    return dealing.deal(*made, protocol_digest="1" * 64, secret=secret, dealt_at="2026-01-01T00:00:00+00:00")


def _told(text: str, made: tuple[Protocol, Manifest]) -> list[str]:
    """Every word of stimulus, condition, recording or presentation that a text tells."""
    names = {w for s in made[1].stimuli for w in (s.stimulus, s.condition, s.recording, s.file, s.digest)}
    parts = {p for s in made[1].stimuli for p in s.condition.split("/")}
    told = names | parts | {"matched", "as recorded", SECRET}
    return sorted(w for w in told if w in text and len(w) > 3)  # c03 may stand in any hash


def test_the_plan_names_clip_codes_only(made: Maker) -> None:
    study = made(5, controls=CONTROLS)
    assert _told(_deal(study).plan.to_json(), study) == []


def test_the_blindness_check_sees_a_name_in_the_plan(made: Maker) -> None:
    study = made(3)
    plan = _deal(study).plan
    leaky = plan.attributes[0].model_copy(update={"explanation": "as in c01-free-2"})
    text = plan.model_copy(update={"attributes": (leaky,)}).to_json()
    assert "c01-free-2" in _told(text, study)


def test_every_clip_of_the_plan_is_in_the_key(made: Maker) -> None:
    dealt = _deal(made(4, controls=CONTROLS))
    keyed = {clip.clip for clip in dealt.key.clips}
    heard = {clip for slot in dealt.plan.slots for trial in slot.trials for clip in trial.clips}
    assert heard | {dealt.plan.level_check_clip} == keyed == set(dealt.heard)


def test_the_level_check_has_a_code_of_its_own(made: Maker) -> None:
    plan = _deal(made(4)).plan
    assert all(plan.level_check_clip not in t.clips for slot in plan.slots for t in slot.trials)


@pytest.mark.parametrize("change", ["condition", "clip", "gain_db", "secret"])
def test_the_sealed_hash_changes_with_anything_in_the_key(made: Maker, change: str) -> None:
    dealt = _deal(made(4))
    assert dealt.plan.key_digest == dealt.key.sealed_digest()
    if change == "secret":
        other = dealt.key.model_copy(update={"secret": OTHER_SECRET})
    else:
        value: Any = 0.1 if change == "gain_db" else "x"
        clip = dealt.key.clips[0].model_copy(update={change: value})
        other = Key(secret=dealt.key.secret, clips=(clip, *dealt.key.clips[1:]))
    assert other.sealed_digest() != dealt.plan.key_digest


def test_the_same_secret_and_clock_give_the_same_bytes(made: Maker) -> None:
    first, second = _deal(made(6, controls=CONTROLS)), _deal(made(6, controls=CONTROLS))
    assert first.plan.to_json() == second.plan.to_json()
    assert first.key.to_json() == second.key.to_json()


def test_another_secret_changes_every_code_and_every_order(made: Maker) -> None:
    study = made(5)
    one, two = _deal(study), _deal(study, OTHER_SECRET)
    assert not set(one.heard) & set(two.heard)
    for a, b in zip(one.plan.slots, two.plan.slots, strict=True):
        assert [[one.heard[c] for c in t.clips] for t in a.trials] != [
            [two.heard[c] for c in t.clips] for t in b.trials
        ]
    assert one.plan.station_seed != two.plan.station_seed


def test_the_protocols_seed_changes_nothing_of_a_deal(made: Maker) -> None:
    one, two = _deal(made(4, seed=1)), _deal(made(4, seed=2))
    assert one.plan == two.plan


def _sequence(made: Maker, seed: int) -> list[tuple[int, int]]:
    study = made(6, listeners=12)
    numbers = {s.stimulus: int(s.condition[1:3]) for s in study[1].stimuli}
    return [
        (numbers[p.first.stimulus], numbers[p.second.stimulus])
        for slot in slots.of_study(*study, Draws.open_to_all(seed))
        for practice, p in slot
        if not practice
    ]


def test_other_secrets_give_uncorrelated_plans(made: Maker) -> None:
    # 180 trials a plan; independent orders put the same first condition at the same place in 1 of 6 trials.
    # Over 15 pairs of plans the share has standard error sqrt(5/36/2700) = 0.0072; four are the margin.
    plans = [_sequence(made, seed) for seed in range(6)]
    pairs = [(a, b) for i, a in enumerate(plans) for b in plans[:i]]
    same = np.mean([x[0] == y[0] for a, b in pairs for x, y in zip(a, b, strict=True)])
    assert same == pytest.approx(1 / 6, abs=0.029)


def test_practice_comes_first_in_each_attribute_and_is_marked(made: Maker) -> None:
    plan = _deal(made(4, attributes=("brightness", "ringing"))).plan
    for slot in plan.slots:
        assert [t.trial for t in slot.trials] == [f"{i + 1:03d}" for i in range(len(slot.trials))]
        for name in ("brightness", "ringing"):
            practice = [t.practice for t in slot.trials if t.attribute == name]
            assert practice == [True] * 2 + [False] * (len(practice) - 2)


def test_control_pairs_alternate_the_stronger_place(made: Maker) -> None:
    dealt = _deal(made(4, listeners=6, controls=CONTROLS))
    gains = [
        tuple(dealt.heard[c].gain_db for c in t.clips)
        for slot in dealt.plan.slots
        for t in slot.trials
        if len({dealt.heard[c].stimulus for c in t.clips}) == 1
    ]
    assert Counter(g for g in gains if g != (0.0, 0.0)) == {(0.0, -3.0): 6, (-3.0, 0.0): 6}


def test_planned_pairs_without_a_question_are_refused(made: Maker) -> None:
    study = made(4, attributes=("brightness", "ringing"), pairs="planned")
    with pytest.raises(StudyError, match="no question plans one"):
        _deal(study)


def test_two_clips_with_one_code_are_refused(made: Maker, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(dealing, "code", lambda secret, place: "aaaaaaaa")
    with pytest.raises(StudyError, match="same code"):
        _deal(made(3))


def test_the_study_hash_covers_protocol_stimuli_key_and_orders(made: Maker) -> None:
    plain = _deal(made(4)).plan.study_digest
    protocol, manifest = made(4)
    other_manifest = manifest.model_copy(update={"target": 79.9})
    changed = [
        dealing.deal(protocol, manifest, protocol_digest="2" * 64, secret=SECRET, dealt_at="now"),
        _deal((protocol, other_manifest)),
        _deal((protocol, manifest), OTHER_SECRET),
        _deal(made(5)),
    ]
    digests = [d.plan.study_digest for d in changed]
    assert len({plain, *digests}) == 5


def test_the_plan_survives_its_file(made: Maker) -> None:
    plan = _deal(made(3)).plan
    assert type(plan).model_validate(json.loads(plan.to_json())) == plan
