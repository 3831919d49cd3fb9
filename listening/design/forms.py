"""What each task makes of a block: for every slot its trials, not yet in order. One file a task."""

from typing import Protocol as Pattern

from listening.design import adjusting, comparison, control, difference, single, whole_set
from listening.design.dealt_trial import Trial
from listening.design.draws import Draws
from listening.records.manifest import Manifest
from listening.records.protocol import Block, Protocol


class Form(Pattern):
    """What makes the trials of one block."""

    def __call__(
        self, protocol: Protocol, manifest: Manifest, block: Block, n_slots: int, *, draws: Draws
    ) -> list[list[Trial]]:
        """For every slot its trials."""


FORMS: dict[str, Form] = {
    "paired comparison": comparison.of_slots,
    "comparison category": comparison.of_slots,
    "2-AFC": comparison.of_slots,
    "category rating": single.of_slots,
    "continuous rating": single.of_slots,
    "same-different": difference.of_slots,
    "triangle": difference.of_slots,
    "duo-trio": difference.of_slots,
    "multiple stimulus": whole_set.of_slots,
    "adjustment": adjusting.of_slots,
}


def of_attribute(
    protocol: Protocol, manifest: Manifest, name: str, n_slots: int, *, draws: Draws
) -> list[list[Trial]]:
    """All trials of one attribute, controls included, for each slot."""
    made: list[list[Trial]] = [[] for _ in range(n_slots)]
    form = FORMS[protocol.attribute(name).task]
    for block in protocol.blocks:
        if block.attribute == name:
            for slot, trials in zip(made, form(protocol, manifest, block, n_slots, draws=draws), strict=True):
                slot.extend(trials)
    for row in protocol.controls:
        if row.attribute == name:
            for number, slot in enumerate(made):
                slot.extend(control.of_slot(protocol, manifest, row, number, draws=draws))
    return made
