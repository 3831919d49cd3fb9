"""What each task makes of a block: for every slot its trials, not yet in order. One file a task."""

from dataclasses import replace
from typing import Protocol as Pattern

from listening.design import adjusting, comparison, control, difference, single, triple, whole_set
from listening.design.dealt_trial import Trial
from listening.design.draws import Draws
from listening.records.kinds import tasks
from listening.records.kinds.tasks import Task
from listening.records.protocols.protocol import Protocol
from listening.records.protocols.protocol_parts import Block
from listening.records.sounds.manifest import Manifest


class Form(Pattern):
    """What makes the trials of one block."""

    def __call__(
        self, protocol: Protocol, manifest: Manifest, block: Block, n_slots: int, *, draws: Draws
    ) -> list[list[Trial]]:
        """For every slot its trials."""


def form(task: Task) -> Form:
    """What makes the trials of a task."""
    if task.orders:
        return difference.of_slots
    if task.sheet == "gain":
        return adjusting.of_slots
    if task.has_hidden_reference and task.sounds == 2:
        return triple.of_slots
    by_number: dict[int | None, Form] = {1: single.of_slots, 2: comparison.of_slots, None: whole_set.of_slots}
    return by_number[task.sounds]


def of_attribute(
    protocol: Protocol, manifest: Manifest, name: str, n_slots: int, *, draws: Draws
) -> list[list[Trial]]:
    """All trials of one attribute, controls included, for each slot."""
    made: list[list[Trial]] = [[] for _ in range(n_slots)]
    form_of_task = form(tasks.named(protocol.attribute(name).task))
    for block in protocol.blocks:
        if block.attribute == name:
            for slot, trials in zip(
                made, form_of_task(protocol, manifest, block, n_slots, draws=draws), strict=True
            ):
                slot.extend(t if block.part is None else replace(t, part=block.part) for t in trials)
    for row in protocol.controls:
        if row.attribute == name:
            for number, slot in enumerate(made):
                slot.extend(control.of_slot(protocol, manifest, row, number, draws=draws))
    return made
