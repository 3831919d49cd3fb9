"""Which session each trial of a slot is heard in: parts in balanced order, the rest shared out evenly."""

from collections.abc import Mapping
from dataclasses import replace

from listening.design import williams
from listening.design.dealt_trial import Trial
from listening.design.draws import Draws
from listening.records.protocols.protocol import Protocol


def orders(protocol: Protocol, n_slots: int, draws: Draws) -> list[int]:
    """Of each slot the row of the square that orders its parts; every row once in each so many slots.

    The rows of one round are drawn at random, so that they do not go with any other balanced property.
    """
    number = protocol.sessions.number
    if number < 2 or protocol.sessions.order == "fixed" or not _has_parts(protocol):
        return [0] * n_slots
    n_rows = len(williams.square(number))
    rounds = -(-n_slots // n_rows)
    rows = [int(row) for one in range(rounds) for row in draws.of("sessions", one).permutation(n_rows)]
    return rows[:n_slots]


def is_ordered(protocol: Protocol) -> bool:
    """Whether slots differ in the order of their parts."""
    return protocol.sessions.number > 1 and protocol.sessions.order == "balanced" and _has_parts(protocol)


def of_slot(
    protocol: Protocol,
    trials: dict[str, list[Trial]],
    slot: int,
    row: int,
    *,
    condition: Mapping[str, str],
) -> list[dict[str, list[Trial]]]:
    """For each session, the trials of each attribute that is asked in it.

    Parameters
    ----------
    trials : by attribute, all that the slot hears
    row : of the square of parts, as `orders` gives it
    condition : of each stimulus
    """
    number = protocol.sessions.number
    if number < 2:
        return [trials]
    place = _places(protocol, row)
    made: list[dict[str, list[Trial]]] = [{} for _ in range(number)]
    for name, every in trials.items():
        own = {t.part for t in every if not t.is_control}
        asked_in = sorted({place[p - 1] for p in own if p is not None}) if None not in own else range(number)
        placed = [replace(t, session=place[t.part - 1] + 1) for t in every if t.part is not None]
        placed += _shared_out([t for t in every if t.part is None], list(asked_in), slot, condition)
        for trial in placed:
            made[trial.session - 1].setdefault(name, []).append(trial)
    return made


def _places(protocol: Protocol, row: int) -> list[int]:
    """By part, the session it is heard in, both from 0."""
    number = protocol.sessions.number
    if not is_ordered(protocol):
        return list(range(number))
    order = [int(part) for part in williams.square(number)[row]]
    return [order.index(part) for part in range(number)]


def _shared_out(
    trials: list[Trial], sessions: list[int], slot: int, condition: Mapping[str, str]
) -> list[Trial]:
    """Trials in turn over sessions: each group evenly, and within it each sound as often first in each."""
    groups: dict[str, list[Trial]] = {}
    for trial in trials:
        groups.setdefault(trial.group, []).append(trial)
    made = []
    for number, name in enumerate(groups):
        turn = sorted(groups[name], key=lambda t: (t.first.gain_db, condition[t.first.stimulus]))
        for i, trial in enumerate(turn):
            # an odd number of hearings gives one session more: another one in the next group and slot
            made.append(replace(trial, session=sessions[(i + number + slot) % len(sessions)] + 1))
    return made


def _has_parts(protocol: Protocol) -> bool:
    return any(block.part is not None for block in protocol.blocks)
