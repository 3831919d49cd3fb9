"""How often a listener meets the pairs of a question, in all sessions and without the last."""

from collections import Counter
from dataclasses import dataclass

from listening.design import forms, session_parts
from listening.design.dealt_trial import Trial
from listening.design.draws import Draws
from listening.errors import StudyError
from listening.records.kinds import tasks
from listening.records.protocols.protocol import Protocol, Question
from listening.records.sounds.manifest import Manifest

SLOTS = 12  # whose trials are looked at


@dataclass(frozen=True)
class Hearings:
    """Of the pair that is met most rarely, by the listener who meets it most rarely."""

    whole: int
    without_last: int
    sessions: int
    """In how many sessions a listener meets it at most."""


def fewest(protocol: Protocol, manifest: Manifest, asked: Question) -> Hearings | None:
    """The hearings of a question; None where it is no question on choices, or cannot be dealt."""
    if tasks.named(protocol.attribute(asked.attribute).task).family != "choice":
        return None
    protocol = protocol.of_stage(asked.stage)
    draws = Draws.open_to_all(protocol.seed)
    n_slots = min(SLOTS, protocol.panel.listeners)
    condition = {s.stimulus: s.condition for s in manifest.stimuli}
    try:
        trials = forms.of_attribute(protocol, manifest, asked.attribute, n_slots, draws=draws)
    except StudyError:
        return None
    rows = session_parts.orders(protocol, n_slots, draws)
    held = [
        session_parts.of_slot(protocol, {asked.attribute: own}, slot, rows[slot], condition=condition)
        for slot, own in enumerate(trials)
    ]
    every = [_of_slot(protocol, one, asked, condition) for one in held]
    return Hearings(*(pick(getattr(one, name) for one in every) for name, pick in _FIELDS.items()))


_FIELDS = {"whole": min, "without_last": min, "sessions": max}


def _of_slot(
    protocol: Protocol, held: list[dict[str, list[Trial]]], asked: Question, condition: dict[str, str]
) -> Hearings:
    met = [_pairs(one.get(asked.attribute, []), asked, condition) for one in held]
    pairs = [frozenset(pair) for pair in asked.contrast.pairs]
    return Hearings(
        whole=min(sum(one[pair] for one in met) for pair in pairs),
        without_last=min(sum(one[pair] for one in met[:-1]) for pair in pairs),
        sessions=max(sum(one[pair] > 0 for one in met) for pair in pairs),
    )


def _pairs(trials: list[Trial], asked: Question, condition: dict[str, str]) -> Counter[frozenset[str]]:
    block = f"{asked.attribute}, {asked.presentation}"
    return Counter(
        frozenset(condition[sound.stimulus] for sound in t.sounds)
        for t in trials
        if not t.is_control and t.block == block
    )
