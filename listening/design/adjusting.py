"""Adjustment by ear: pairs as in a comparison, the second sound starting well above or below in turn."""

from dataclasses import replace

from listening.design import comparison
from listening.design.dealt_trial import Trial
from listening.design.draws import Draws
from listening.records.protocols.protocol import Protocol
from listening.records.protocols.protocol_parts import Block
from listening.records.sounds.manifest import Manifest

START_DB = (3.0, 6.0)  # how far off the second sound starts, either way


def of_slots(
    protocol: Protocol, manifest: Manifest, block: Block, n_slots: int, *, draws: Draws
) -> list[list[Trial]]:
    """The trials of one block for each slot; within a slot every other one starts above."""
    rng = draws.of("starts", block.attribute, block.presentation)
    made = []
    for slot, trials in enumerate(comparison.of_slots(protocol, manifest, block, n_slots, draws=draws)):
        signs = [1 if (slot + i) % 2 else -1 for i in range(len(trials))]
        made.append(
            [
                _off(trial, sign * float(rng.uniform(*START_DB)))
                for trial, sign in zip(trials, signs, strict=True)
            ]
        )
    return made


def _off(trial: Trial, gain_db: float) -> Trial:
    return replace(trial, start_gain_db=round(2 * gain_db) / 2)
