"""How long a sitting takes, by attribute and presentation, and how to cut it when it is too long."""

import math
from collections import Counter, defaultdict
from dataclasses import dataclass, replace

from listening.design import slots
from listening.design.dealt_trial import Trial
from listening.design.draws import Draws
from listening.design.order import Ordered
from listening.records.protocols.protocol import Protocol
from listening.records.sounds.manifest import Manifest

LONGEST_MIN = 30.0  # a sitting longer than this tires; practice of listening panels, no standard's limit
ANSWER_S = 4.0  # from the end of the sounds to the answer, and on to the next trial: our own estimate
INTRODUCTION_S = 60.0  # reading, and the pair of examples, for each attribute: our own estimate


@dataclass(frozen=True)
class Part:
    """The trials of one block for the listener who has most of them."""

    what: str
    """Attribute and presentation; `control pairs` of an attribute stand by themselves."""
    attribute: str
    trials: int
    seconds: float


@dataclass(frozen=True)
class Budget:
    """The longest slot of a plan."""

    parts: tuple[Part, ...]
    practice: int
    practice_s: float
    introductions_s: float
    breaks: int
    breaks_s: float
    sessions_s: tuple[float, ...] = ()
    """Of each of several sessions, how long it is for the listener for whom it is longest."""

    @property
    def at_once_s(self) -> float:
        """What a listener sits in one go: the longest session, or all of it."""
        return max(self.sessions_s, default=self.seconds)

    @property
    def seconds(self) -> float:
        """All of it."""
        own = sum(part.seconds for part in self.parts)
        return own + self.practice_s + self.introductions_s + self.breaks_s


def of_study(protocol: Protocol, manifest: Manifest) -> Budget:
    """The budget of the slot with most to do; raises StudyError as `deal` would."""
    dealt = list(slots.unordered(protocol, manifest, Draws.open_to_all(protocol.seed)))
    longest = max((_of_slot(protocol, slot) for slot in dealt), key=_seconds)
    if protocol.sessions.number < 2:
        return longest
    each = [
        max(_of_slot(protocol, _session(slot, number)).seconds for slot in dealt)
        for number in range(1, protocol.sessions.number + 1)
    ]
    return replace(longest, sessions_s=tuple(each))


def _session(slot: Ordered, number: int) -> Ordered:
    return [(practice, trial) for practice, trial in slot if trial.session == number]


def sittings(budget: Budget) -> list[list[str]]:
    """The attributes shared out over sittings of at most 30 minutes, the longest first.

    An attribute that is too long by itself gets as many sittings as it needs, named `brightness (1 of 2)`.
    """
    minutes: defaultdict[str, float] = defaultdict(float)
    for part in budget.parts:
        minutes[part.attribute] += part.seconds / 60
    overhead = (budget.seconds / 60 - sum(minutes.values())) / max(len(minutes), 1)
    pieces: list[tuple[float, str]] = []
    for name, own in minutes.items():
        n = max(1, math.ceil((own + overhead) / LONGEST_MIN))
        names = [name] if n == 1 else [f"{name} ({i + 1} of {n})" for i in range(n)]
        pieces += [((own + overhead) / n, piece) for piece in names]
    return _packed(pieces)


def trial_s(protocol: Protocol, trial: Trial) -> float:
    """Seconds that one trial takes when nothing is played twice over."""
    if trial.follows:  # about sounds that were heard already
        return ANSWER_S
    sound_s = (
        len(trial.sounds) * protocol.trimming.length_s + (len(trial.sounds) - 1) * protocol.sitting.gap_s
    )
    return sound_s * protocol.sitting.plays_at_least + ANSWER_S


def lines(budget: Budget) -> list[str]:
    """The budget for people."""
    text = [
        f"  {part.what:<40}{part.trials:4d} trials  {part.seconds / 60:5.1f} min" for part in budget.parts
    ]
    rest = (
        (f"practice ({budget.practice} trials)", budget.practice_s),
        ("introductions", budget.introductions_s),
        (f"breaks ({budget.breaks})", budget.breaks_s),
        ("one listener in all", budget.seconds),
    )
    each = tuple((f"session {i}", seconds) for i, seconds in enumerate(budget.sessions_s, start=1))
    return text + [f"  {what:<40}             {seconds / 60:5.1f} min" for what, seconds in (*rest, *each)]


def _of_slot(protocol: Protocol, slot: Ordered) -> Budget:
    trials: Counter[tuple[str, str]] = Counter()
    seconds: defaultdict[tuple[str, str], float] = defaultdict(float)
    for is_practice, trial in slot:
        if not is_practice:
            block = (
                f"{trial.attribute}, control pairs" if trial.is_control else trial.block or trial.attribute
            )
            trials[block, trial.attribute] += 1
            seconds[block, trial.attribute] += trial_s(protocol, trial)
    practised = [trial for is_practice, trial in slot if is_practice]
    asked = {trial.attribute for _, trial in slot}
    n_heard = sum(not is_practice and not trial.follows for is_practice, trial in slot)
    n_breaks = max(0, math.ceil(n_heard / protocol.sitting.break_every_trials) - 1)
    return Budget(
        parts=tuple(Part(what, name, trials[what, name], seconds[what, name]) for what, name in trials),
        practice=len(practised),
        practice_s=sum(trial_s(protocol, trial) for trial in practised),
        introductions_s=INTRODUCTION_S * len(asked),
        breaks=n_breaks,
        breaks_s=n_breaks * protocol.sitting.break_at_least_s,
    )


def _seconds(budget: Budget) -> float:
    return budget.seconds


def _packed(pieces: list[tuple[float, str]]) -> list[list[str]]:
    """First fit, the longest first."""
    made: list[tuple[float, list[str]]] = []
    for minutes, name in sorted(pieces, reverse=True):
        place = next((i for i, (used, _) in enumerate(made) if used + minutes <= LONGEST_MIN), None)
        if place is None:
            made.append((minutes, [name]))
        else:
            used, names = made[place]
            made[place] = (used + minutes, [*names, name])
    return [names for _, names in made]
