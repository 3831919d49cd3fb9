"""Whether control pairs bound what matching leaves of level: said before the sounds are made, and after."""

from pathlib import Path

import pytest

from listening.planning import level_criticism
from listening.records.protocols import protocol as protocol_form
from listening.records.protocols.protocol import Protocol
from listening.records.sounds.manifest import Manifest

BELLS = Path(__file__).resolve().parents[2] / "protocols" / "bells.toml"


def bells(gains_db: list[float], *, heard: bool = True) -> Protocol:
    """The demo's protocol with other control gains for brightness, and ringing left as it is."""
    chosen = protocol_form.load(BELLS)
    controls = [
        c.model_copy(update={"gains_db": gains_db}) if c.attribute == "brightness" else c
        for c in chosen.controls
    ]
    blocks = [b.model_copy(update={"of_all_questions": b.of_all_questions and heard}) for b in chosen.blocks]
    kept = [c for c in controls if c.gains_db]
    return chosen.model_copy(update={"controls": kept, "blocks": blocks})


def manifest(lae_db: float) -> Manifest:
    """One strike a dome; those of d stand so far above the rest in LAE."""
    from listening.planning import stand_in
    from listening.records.sounds import recordings_table

    chosen = protocol_form.load(BELLS)
    made = stand_in.manifest(chosen, recordings_table.load(chosen, BELLS))
    stimuli = tuple(
        s.model_copy(
            update={"after": {"laf_max_db": 70.0, "lae_db": 60.0 + lae_db * (s.condition == "dome_d/free")}}
        )
        for s in made.stimuli
    )
    return made.model_copy(update={"stimuli": stimuli})


@pytest.mark.parametrize(
    ("gains_db", "told"),
    [
        ([1.5, 3.0], ""),
        ([2.0], ""),
        ([], "no control pairs"),
        ([1.0], "up to 1 dB: what is left of level has no bound"),
        ([6.0], "no control pair below 6 dB"),
    ],
)
def test_check_wants_a_control_gain_at_or_just_above_what_matching_leaves(gains_db, told) -> None:
    found = [said for _, said, _ in level_criticism.expected(bells(gains_db))]
    assert len(found) == (2 if told else 0)  # two questions on brightness
    assert all(told in said for said in found)


def test_check_tells_of_a_pair_whose_loudness_nobody_is_asked() -> None:
    found = [key for key, said, _ in level_criticism.expected(bells([1.5], heard=False)) if "louder" in said]
    chosen = protocol_form.load(BELLS)
    asked = {chosen.questions[i].id for _, i in found}
    assert asked == {"d-brighter-than-c", "f-longer-than-e"}  # b and a have a question of their own


def test_prepare_says_it_again_with_what_was_measured() -> None:
    assert level_criticism.measured(bells([1.5]), manifest(1.2)) == []
    [line] = level_criticism.measured(bells([1.5]), manifest(2.4))
    assert line.startswith("d-brighter-than-c: its two stay up to 2.4 dB apart in LAE")
    assert "no bound" in line
