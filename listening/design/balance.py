"""What a plan balances exactly and what only nearly, by counting."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from listening.design.dealt_trial import Trial
from listening.design.order import Ordered


@dataclass(frozen=True)
class Line:
    """One counted property; `exact` where nothing is left uneven."""

    what: str
    smallest: int
    largest: int
    exact: bool


def report(slots: Sequence[Ordered], condition: Mapping[str, str]) -> list[Line]:
    """Counts over all slots, practice left out.

    Parameters
    ----------
    slots : (is practice, trial) in order, a sequence a slot
    condition : the condition of each stimulus
    """
    counted = [[trial for practice, trial in slot if not practice] for slot in slots]
    study = [[trial for trial in slot if not trial.is_control] for slot in counted]
    every = [trial for slot in study for trial in slot]
    heard = [[trial for trial in slot if not trial.follows] for slot in counted]
    controls = [trial for slot in counted for trial in slot if trial.is_control]
    lines = [
        _even("trials of a listener", [len(slot) for slot in counted]),
        *(line for trials in _blocks(every) for line in _hearings(trials)),
        _none("a pair's hearings with one condition first, minus the other first", _leads(every, condition)),
        _none("a listener's trials with a condition first, minus second", _own_leads(study, condition)),
        _even("strong first, and weak first, of the control pairs", _control_leads(controls)),
        _even(
            "slots that begin with each attribute", Counter(slot[0].attribute for slot in counted).values()
        ),
        _even("slots in which an attribute follows each other one", _attribute_steps(counted).values()),
        *(
            _even(f"one condition right after another, trial to trial ({name})", counts.values())
            for name, counts in _steps(study, condition).items()
        ),
        _even("slots in which an attribute is asked first about a pair", _asked_first(counted).values()),
        _none("neighbouring trials of the same pair, in a slot", [_repeats(slot) for slot in heard]),
        _none("neighbouring trials that share a sound, in a slot", [_shared(slot) for slot in heard]),
    ]
    return [line for line in lines if line is not None]


def _even(what: str, counts: Iterable[int]) -> Line | None:
    """A property that is exact when all counts are the same; None when there is nothing to count."""
    numbers = list(counts)
    return Line(what, min(numbers), max(numbers), min(numbers) == max(numbers)) if numbers else None


def _none(what: str, counts: Iterable[int]) -> Line | None:
    """A property that is exact when every count is zero."""
    numbers = [abs(n) for n in counts]
    return Line(what, min(numbers), max(numbers), max(numbers) == 0) if numbers else None


def _blocks(trials: list[Trial]) -> list[list[Trial]]:
    names = dict.fromkeys(t.block for t in trials)
    return [[t for t in trials if t.block == name] for name in names]


def _hearings(trials: list[Trial]) -> list[Line | None]:
    pairs = Counter(t.group for t in trials)
    stimuli = Counter(sound.stimulus for t in trials for sound in t.sounds)
    return [
        _even(f"hearings of each pair ({trials[0].block})", pairs.values()),
        _even(f"hearings of each stimulus ({trials[0].block})", stimuli.values()),
    ]


def _pair(trial: Trial, condition: Mapping[str, str]) -> tuple[str, str]:
    return condition[trial.first.stimulus], condition[trial.second.stimulus]


def _paired(trials: Iterable[Trial]) -> list[Trial]:
    return [t for t in trials if len(t.sounds) == 2]


def _leads(trials: list[Trial], condition: Mapping[str, str]) -> list[int]:
    surplus: Counter[str] = Counter()
    for trial in _paired(trials):
        first, second = _pair(trial, condition)
        surplus[trial.group] += 1 if first < second else -1
    return list(surplus.values())


def _own_leads(slots: list[list[Trial]], condition: Mapping[str, str]) -> list[int]:
    found: list[int] = []
    for slot in slots:
        surplus: Counter[tuple[str, str]] = Counter()
        for trial in _paired(slot):
            first, second = _pair(trial, condition)
            surplus[trial.block, first] += 1
            surplus[trial.block, second] -= 1
        found += surplus.values()
    return found


def _control_leads(trials: list[Trial]) -> list[int]:
    first = sum(t.first.gain_db > t.second.gain_db for t in trials)
    second = sum(t.first.gain_db < t.second.gain_db for t in trials)
    return [first, second] if first + second else []


def _attribute_steps(slots: list[list[Trial]]) -> Counter[tuple[str, str]]:
    """How often each attribute was begun right after each other one; empty where they are mixed."""
    names = sorted({t.attribute for slot in slots for t in slot})
    steps = Counter({(a, b): 0 for a in names for b in names if a != b})
    for slot in slots:
        order = [t.attribute for t in slot]
        begun = [b for a, b in pairwise(["", *order]) if a != b]
        if len(begun) > len(names):
            return Counter()
        steps.update(pairwise(begun))
    return steps


def _asked_first(slots: list[list[Trial]]) -> Counter[str]:
    """In how many slots each attribute of those asked together comes first; empty where none are."""
    follows = {t.attribute for slot in slots for t in slot if t.follows}
    first = [
        {t.attribute for t, after in pairwise(slot) if after.follows and not t.follows} for slot in slots
    ]
    names = follows.union(*first) if follows else set()
    return Counter({name: sum(name in heads for heads in first) for name in sorted(names)})


def _steps(slots: list[list[Trial]], condition: Mapping[str, str]) -> dict[str, Counter[tuple[str, str]]]:
    """For each attribute, how often a trial that ends with one condition met one that begins with another."""
    steps: dict[str, Counter[tuple[str, str]]] = {}
    for slot in slots:
        for a, b in pairwise(_together(slot)):
            step = condition[a[0].sounds[-1].stimulus], condition[b[0].sounds[0].stimulus]
            for name in sorted({t.attribute for t in a} & {t.attribute for t in b}):
                if step[0] != step[1]:
                    steps.setdefault(name, Counter())[step] += 1
    return steps


def _together(slot: list[Trial]) -> list[list[Trial]]:
    """The trials of a slot, those together that ask about the same sounds."""
    made: list[list[Trial]] = []
    for trial in slot:
        if trial.follows:
            made[-1].append(trial)
        else:
            made.append([trial])
    return made


def _repeats(slot: list[Trial]) -> int:
    return sum(a.group == b.group and not a.is_control for a, b in pairwise(slot))


def _shared(slot: list[Trial]) -> int:
    sounds = [{sound.stimulus for sound in trial.sounds} for trial in slot]
    return sum(bool(a & b) for a, b in pairwise(sounds))
