"""Many rehearsed studies, as hoped and with nothing true, and what they come to beside what was promised."""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import partial

import numpy as np

from listening.analysis.opening.sealed_key import Opened
from listening.design import dealing
from listening.design.draws import open_secret
from listening.planning import budget, exclusion_rates
from listening.planning.exclusion_rates import Rate
from listening.planning.rehearsal import hoped, one_run, promises, sitting_length
from listening.planning.rehearsal.hoped import STATES, State
from listening.planning.rehearsal.one_run import Run, Setting
from listening.records.protocols.planned_power import Assumed
from listening.records.protocols.protocol import Protocol
from listening.records.protocols.stages import FIRST
from listening.records.sounds.manifest import Manifest
from listening.simulate import true_effects
from listening.simulate.recruiting import People
from stats.deciding.equivalence import clopper_pearson
from stats.repeats import refits

LEVEL = 0.95  # of Monte Carlo limits
DEALT_AT = "2000-01-01T00:00:00+00:00"
Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Supposed:
    """What a rehearsal takes for granted."""

    share: float = 0.75
    """Of choices, hoped for each `more`."""
    assumed: Assumed = field(default_factory=Assumed)
    people: People = field(default_factory=People)
    at_random: float = 0.0
    """Share of listeners who answer at random."""
    n_sites: int = 1
    spread_sites: float = 0.0
    """Standard deviation over sites of a contrast, logit."""
    spread_sessions: float = 0.0
    """Standard deviation of a listener's contrast from session to session, logit."""


@dataclass(frozen=True)
class Seen:
    """How often something was seen, with exact binomial limits."""

    count: int
    of: int

    @property
    def share(self) -> float:
        """Of all; 0 of none."""
        return self.count / self.of if self.of else 0.0

    @property
    def limits(self) -> tuple[float, float]:
        """95 % Monte Carlo limits."""
        return clopper_pearson(self.count, self.of, (1 - LEVEL) / 2) if self.of else (0.0, 1.0)

    def holds(self, promised: float) -> bool:
        """Whether the promised chance lies within the limits."""
        lower, upper = self.limits
        return lower <= promised <= upper


@dataclass(frozen=True)
class Line:
    """One question or superlative under one state."""

    id: str
    kind: str
    state: State
    true: float
    """The share of choices, share not guessed or points that was true."""
    unit: str
    promised: float | None
    """Chance of `supported` at the planned end; with nothing true, at most so much."""
    supported: Seen
    words: dict[str, int]

    @property
    def is_kept(self) -> bool | None:
        """Whether what was seen agrees with the promise; None where nothing was promised."""
        if self.promised is None:
            return None
        lower, upper = self.supported.limits
        return lower <= self.promised and (self.state == "nothing true" or self.promised <= upper)


@dataclass(frozen=True)
class Rehearsed:
    """All runs, counted."""

    runs: int
    seed: int
    supposed: Supposed
    is_prepared: bool
    """Whether the stimuli are the prepared ones; else they stand in for them, perfectly matched."""
    lines: tuple[Line, ...]
    families: dict[str, Seen]
    """With nothing true: runs in which any question of the family was supported."""
    family_alpha: dict[str, float]
    courses: dict[State, tuple[Run, ...]]
    planned_listeners: int
    planned_minutes: float
    exclusions: tuple[Rate, ...]
    stage: int = FIRST

    def all_runs(self) -> list[Run]:
        """Of both states."""
        return [run for state in STATES for run in self.courses[state]]


def rehearse(
    protocol: Protocol,
    manifest: Manifest,
    supposed: Supposed,
    *,
    runs: int,
    seed: int = 1,
    where: int | str = 1,
    is_prepared: bool = True,
    stage: int = FIRST,
    on_progress: Progress | None = None,
) -> Rehearsed:
    """`runs` studies as hoped and as many with nothing true: same seed, same numbers, wherever it runs.

    Parameters
    ----------
    protocol : of one stage, see `stage_parts`
    where : 1 here, N on N processes, tcp://HOST:PORT on a Dask scheduler (see `stats.repeats.refits.run`)
    stage : its number; no listener of one sits in another, so each is rehearsed by itself

    Raises
    ------
    StudyError
        The protocol cannot be dealt.
    """
    own = budget.of_study(protocol, manifest)
    settings = {state: _setting(protocol, manifest, supposed, state, own, seed) for state in STATES}
    made: dict[State, tuple[Run, ...]] = {}
    for i, state in enumerate(STATES):
        place = [seed, i] if stage == FIRST else [seed, i, stage]
        seeds = np.random.SeedSequence(place).spawn(runs)
        told = partial(further, on_progress, i, len(STATES))
        found = refits.run(partial(one_run.run, settings[state]), seeds, where, on_progress=told)
        made[state] = tuple(found)
    families = _families(protocol)
    return Rehearsed(
        runs=runs,
        seed=seed,
        supposed=supposed,
        is_prepared=is_prepared,
        lines=tuple(
            line for state in STATES for line in _lines(protocol, manifest, settings[state], made[state])
        ),
        families={name: _any_supported(made["nothing true"], ids) for name, ids in families.items()},
        family_alpha={q.family: q.alpha for q in protocol.questions if q.family in families},
        courses=made,
        planned_listeners=protocol.panel.listeners,
        planned_minutes=own.at_once_s / 60,
        exclusions=tuple(exclusion_rates.of_protocol(protocol, manifest)),
        stage=stage,
    )


def further(on_progress: Progress | None, part: int, parts: int, done: int, of: int) -> None:
    """Tell how far the whole is, of equal parts of which one is under way."""
    if on_progress is not None:
        on_progress(part * of + done, parts * of)


def _setting(
    protocol: Protocol, manifest: Manifest, supposed: Supposed, state: State, own: budget.Budget, seed: int
) -> Setting:
    """A deal of its own, under a secret that anybody can make: the study's own key is not needed."""
    dealt = dealing.deal(
        protocol, manifest, protocol_digest="0" * 64, secret=open_secret(seed), dealt_at=DEALT_AT
    )
    conditions: dict[str, list[str]] = {}
    for stimulus in manifest.stimuli:
        conditions.setdefault(stimulus.presentation, [])
    every = sorted({clip.condition for clip in dealt.key.clips})
    true = hoped.of_study(protocol, dict.fromkeys(conditions, every), supposed.share, supposed.assumed, state)
    trials = true_effects.trials_of(dealt.plan, dealt.key, manifest, true.effects)
    return Setting(
        opened=Opened(protocol, dealt.plan, dealt.key, manifest),
        trials=trials,
        hoped=true,
        panel=true_effects.Panel(
            effects=true.effects,
            assumed=supposed.assumed,
            logit_per_db=supposed.assumed.logit_per_db,
            level_logit_per_db=supposed.assumed.level_logit_per_db,
            at_random=supposed.at_random,
            n_sites=supposed.n_sites,
            spread_sites=supposed.spread_sites,
            spread_sessions=supposed.spread_sessions,
        ),
        people=supposed.people,
        lengths=sitting_length.of_study(protocol, trials, own),
        about_level=frozenset(a.name for a in protocol.attributes if a.about_level),
    )


def _lines(protocol: Protocol, manifest: Manifest, setting: Setting, runs: Sequence[Run]) -> list[Line]:
    state = setting.hoped.state
    is_hoped = state == "as hoped"
    made = []
    for question in protocol.questions:
        promised = promises.power(protocol, manifest, question, setting.hoped) if is_hoped else question.alpha
        made.append(_line(question.id, question.kind, question.unit, promised, setting, runs))
    for named in protocol.superlatives:
        promised = promises.superlative(protocol, manifest, named, setting.hoped) if is_hoped else named.alpha
        made.append(_line(named.id, "superlative", "share", promised, setting, runs))
    return made


def _line(
    name: str, kind: str, unit: str, promised: float | None, setting: Setting, runs: Sequence[Run]
) -> Line:
    words = Counter(run.words[name] for run in runs)
    return Line(
        id=name,
        kind=kind,
        state=setting.hoped.state,
        true=setting.hoped.true[name],
        unit=unit,
        promised=promised,
        supported=Seen(words["supported"], len(runs)),
        words=dict(words),
    )


def _families(protocol: Protocol) -> dict[str, list[str]]:
    """Families of more than one question."""
    made: dict[str, list[str]] = {}
    for question in protocol.questions:
        if question.family:
            made.setdefault(question.family, []).append(question.id)
    return {name: ids for name, ids in made.items() if len(ids) > 1}


def _any_supported(runs: Sequence[Run], ids: Sequence[str]) -> Seen:
    return Seen(sum(any(run.words[name] == "supported" for name in ids) for run in runs), len(runs))
