"""A whole panel to whom given effects are true: what it answers to every trial of a deal, in memory.

Where `panel` goes by what the sounds measure, this one is told how far each condition lies above the others.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from listening.records.dealt.answer import Answer
from listening.records.dealt.plan import Plan, PlannedAttribute, PlannedTrial
from listening.records.keys.key import Key
from listening.records.kinds import tasks
from listening.records.protocols.planned_power import Assumed
from listening.records.sounds.manifest import Manifest
from listening.simulate import answering, panel
from listening.simulate import listener as one
from listening.simulate.listener import Truth
from listening.simulate.percepts import FloatArray, IntArray

SLOPE_SPREAD = 0.3  # standard deviation over listeners of what a decibel does, relative to its mean
OWN_HEARD = 8.0  # so many trials' worth of own opinion: how alike listeners hear a difference (beta law)
SAYS_DIFFERENT = 0.3  # same-different: chance of `different` where nothing is heard
FAR_APART = 6.0  # logit; two conditions as one who hears every difference has them
BoolArray = NDArray[np.bool_]
Cell = tuple[str, str]
"""Attribute and presentation."""


@dataclass(frozen=True)
class Effects:
    """What is true of one attribute under one presentation."""

    strength: Mapping[str, float]
    """Logit, by condition."""
    alike: Mapping[str, str]
    """By condition, the name under which listeners have their own view of it: two with one name are heard as
    equally far apart by everybody."""
    heard: float = 0.0
    """Discrimination: share of trials in which the difference is heard."""
    level_acts: bool = True
    """Whether the level of each sound moves answers besides; else the strengths hold it."""


@dataclass(frozen=True)
class Panel:
    """What is true of the listeners."""

    effects: Mapping[Cell, Effects]
    assumed: Assumed
    logit_per_db: float
    """Of level alone, where the attribute is not about level."""
    level_logit_per_db: float
    """Of level alone, where it is."""
    at_random: float = 0.0
    """Share of listeners who answer at random."""
    n_sites: int = 1
    spread_sites: float = 0.0
    """Standard deviation over sites of a contrast, logit."""
    spread_sessions: float = 0.0
    """Standard deviation of a listener's contrast from session to session, logit."""


@dataclass(frozen=True)
class Trials:
    """Every counted trial of a deal, slot after slot."""

    slot: IntArray
    attribute: IntArray
    """(n,) index into `plan.attributes`."""
    cell: IntArray
    """(n,) index into `cells`."""
    session: IntArray
    """(n,) from 0."""
    first: IntArray
    """(n,) index of the clip heard first."""
    second: IntArray
    """(n,) of the one heard last."""
    planned: tuple[PlannedTrial, ...]
    right: tuple[str, ...]
    """Discrimination: the right answer; empty elsewhere."""
    cells: tuple[Cell, ...]
    clips: tuple[str, ...]
    condition: tuple[str, ...]
    """Of each clip."""
    recording: tuple[str, ...]
    """Behind each clip."""
    level_db: FloatArray
    """(clips,) LAFmax above the mean of its presentation, control gain left out."""
    gain_db: FloatArray
    """(clips,)"""
    plan: Plan


@dataclass(frozen=True)
class Answered:
    """What one panel says; a row a trial of `Trials`."""

    answer: tuple[str, ...]
    response_s: FloatArray
    at_random: frozenset[int]
    """Slots of listeners who answered at random."""
    site: IntArray
    """(slots,)"""


def trials_of(plan: Plan, key: Key, manifest: Manifest, effects: Mapping[Cell, Effects]) -> Trials:
    """The counted trials of a deal, with what is heard in each."""
    at = {clip.clip: i for i, clip in enumerate(key.clips)}
    names = [a.name for a in plan.attributes]
    counted = [(slot.slot, t) for slot in plan.slots for t in slot.trials if not t.practice]
    cell_of = [(t.attribute, key.clips[at[t.clips[0]]].presentation) for _, t in counted]
    cells = tuple(dict.fromkeys(cell_of))
    level_db = np.array([manifest.of(clip.stimulus).after.get("laf_max_db") or 0.0 for clip in key.clips])
    for presentation in {clip.presentation for clip in key.clips}:
        same = np.array([clip.presentation == presentation for clip in key.clips])
        level_db[same] -= level_db[same].mean()
    condition = {clip.clip: clip.condition for clip in key.clips}
    return Trials(
        slot=np.array([slot for slot, _ in counted]),
        attribute=np.array([names.index(t.attribute) for _, t in counted]),
        cell=np.array([cells.index(cell) for cell in cell_of]),
        session=np.array([t.session - 1 for _, t in counted]),
        first=np.array([at[t.clips[0]] for _, t in counted]),
        second=np.array([at[t.clips[-1]] for _, t in counted]),
        planned=tuple(t for _, t in counted),
        right=tuple(
            _right(plan.attribute(t.attribute), t, effects.get(cell), condition)
            for (_, t), cell in zip(counted, cell_of, strict=True)
        ),
        cells=cells,
        clips=tuple(at),
        condition=tuple(clip.condition for clip in key.clips),
        recording=tuple(manifest.of(clip.stimulus).recording for clip in key.clips),
        level_db=level_db,
        gain_db=np.array([clip.gain_db for clip in key.clips]),
        plan=plan,
    )


def answers(trials: Trials, truth: Panel, about_level: frozenset[str], rng: np.random.Generator) -> Answered:
    """What a drawn panel answers to all of them.

    Parameters
    ----------
    about_level : names of the attributes that ask for level itself
    """
    n_slots = int(trials.slot.max()) + 1
    site = np.arange(n_slots) % truth.n_sites
    heard = _Panel(trials, truth, about_level, site, rng)
    said = np.empty(len(trials.slot), dtype=object)
    for a, attribute in enumerate(trials.plan.attributes):
        rows = np.flatnonzero(trials.attribute == a)
        task = tasks.named(attribute.task)
        if task.family == "choice":
            said[rows] = heard.choices(rows, attribute, rng)
        elif task.family == "discrimination":
            said[rows] = heard.discriminated(rows, attribute, rng)
        else:
            said[rows] = heard.others(rows, attribute, rng)
    pace = np.exp(0.25 * rng.standard_normal(n_slots))
    quick = panel.QUICKEST_S - 2.7 * np.log1p(-rng.random(len(said)))
    random = frozenset(np.flatnonzero(heard.at_random).tolist())
    return Answered(tuple(said), np.round(pace[trials.slot] * quick, 3), random, site)


def columns(trials: Trials, said: Answered, keep: BoolArray) -> dict[str, list[object]]:
    """The answers that `keep` marks, as the store gives many of them.

    Parameters
    ----------
    keep : (n,) whether each trial was answered and its answer is still there
    """
    rows = np.flatnonzero(keep)
    task = {a.name: a.task for a in trials.plan.attributes}
    site = [chr(ord("A") + s) if said.site.max(initial=0) else "" for s in said.site]
    made: dict[str, list[object]] = {name: [] for name in Answer.model_fields}
    for row in rows:
        slot, trial = int(trials.slot[row]), trials.planned[row]
        cells = (
            *(f"simulated-{slot:04d}", panel.code(slot), slot, trial.trial, trial.attribute),
            *(task[trial.attribute], " ".join(trial.clips), said.answer[row], float(said.response_s[row])),
            *(1, False, True, panel.ANSWERED_AT, site[slot]),
        )
        for name, cell in zip(made, cells, strict=True):
            made[name].append(cell)
    return made


class _Panel:
    """One drawn panel: own views, strikes, order, level, and who does not listen."""

    def __init__(
        self,
        trials: Trials,
        truth: Panel,
        about_level: frozenset[str],
        site: IntArray,
        rng: np.random.Generator,
    ) -> None:
        self.trials, self.truth = trials, truth
        n, assumed = len(site), truth.assumed
        self.at_random = rng.random(n) < truth.at_random
        self.order = assumed.order * (1.0 + rng.standard_normal(n))
        slope = 1.0 + SLOPE_SPREAD * rng.standard_normal(n)
        n_sessions = int(trials.session.max(initial=0)) + 1
        names = sorted(set(trials.condition))
        self.condition = np.array([names.index(c) for c in trials.condition])
        sd = truth.spread_sessions / np.sqrt(2) if n_sessions > 1 else 0.0
        self.of_session = rng.normal(0.0, sd, (n, n_sessions, len(names)))
        self.heard: list[FloatArray] = []
        """For each cell, (slots, clips): how much of the attribute each listener hears in each clip."""
        recordings = list(dict.fromkeys(trials.recording))
        of_recording = np.array([recordings.index(name) for name in trials.recording])
        # views and strikes are the same in every presentation of an attribute; a contrast is the difference
        # of two views, so each takes half of its variance
        views: dict[str, FloatArray] = {}
        quirks: dict[str, FloatArray] = {}
        for attribute in dict.fromkeys(name for name, _ in trials.cells):
            own = rng.normal(0.0, assumed.spread_listeners / np.sqrt(2), (n, len(names)))
            of_sites = rng.normal(0.0, truth.spread_sites / np.sqrt(2), (truth.n_sites, len(names)))
            views[attribute] = own + of_sites[site]
            quirks[attribute] = rng.normal(0.0, assumed.spread_stimuli, len(recordings))
        for attribute, presentation in trials.cells:
            effects = truth.effects[attribute, presentation]
            group = np.array([names.index(effects.alike[c]) for c in trials.condition])
            mean = np.array([effects.strength[c] for c in trials.condition])
            per_db = slope * (truth.level_logit_per_db if attribute in about_level else truth.logit_per_db)
            taken_db = trials.gain_db + (trials.level_db if effects.level_acts else 0.0)
            pull = views[attribute][:, group] + quirks[attribute][of_recording]
            self.heard.append(mean + pull + per_db[:, None] * taken_db)

    def choices(self, rows: IntArray, attribute: PlannedAttribute, rng: np.random.Generator) -> list[str]:
        """Choices between two sounds."""
        slot = self.trials.slot[rows]
        first, second = (self._of(rows, at[rows]) for at in (self.trials.first, self.trials.second))
        awake = ~self.at_random[slot]
        picks = one.chosen(
            first * awake,
            second * awake,
            order_bias=self.order[slot] * awake,
            truth=Truth(lapses=self.truth.assumed.lapses),
            tie_allowed=attribute.no_difference,
            draws=rng.random((len(rows), 2)),
        )
        return [panel.ANSWERS[pick] for pick in picks]

    def discriminated(
        self, rows: IntArray, attribute: PlannedAttribute, rng: np.random.Generator
    ) -> list[str]:
        """Heard, and answered rightly, or guessed."""
        slot, cell = self.trials.slot[rows], self.trials.cell[rows]
        share = np.array([self.truth.effects[c].heard for c in self.trials.cells])
        own = np.zeros((len(self.at_random), len(share)))
        for c, mean in enumerate(share):
            if 0 < mean < 1:
                own[:, c] = rng.beta(OWN_HEARD * mean, OWN_HEARD * (1 - mean), len(own))
            else:
                own[:, c] = mean
        own[self.at_random] = 0.0
        heard = rng.random(len(rows)) < own[slot, cell]
        draws = rng.random(len(rows))
        offered = _offered(attribute)
        if tasks.named(attribute.task).guess is None:  # same or different
            guessed = ["different" if draw < SAYS_DIFFERENT else "same" for draw in draws]
        else:
            guessed = [offered[int(draw * len(offered))] for draw in draws]
        return [self.trials.right[r] if h else g for r, h, g in zip(rows, heard, guessed, strict=True)]

    def others(self, rows: IntArray, attribute: PlannedAttribute, rng: np.random.Generator) -> list[str]:
        """Ratings and adjustments, each sound with noise of its own."""
        at = {clip: i for i, clip in enumerate(self.trials.clips)}
        made = []
        for row in rows:
            slot, trial = int(self.trials.slot[row]), self.trials.planned[row]
            heard = self.heard[self.trials.cell[row]][slot]
            clips = [at[clip] for clip in trial.clips]
            heard = heard + self.of_session[slot, self.trials.session[row], self.condition]
            base = np.zeros_like(heard) if self.at_random[slot] else heard
            noise = panel.NOISE_SD * (2.5 if self.at_random[slot] else 1.0)
            sounds = base[clips] + noise * rng.standard_normal(len(clips))
            reference = None
            if trial.reference is not None:
                reference = float(base[at[trial.reference]] + noise * rng.standard_normal())
            level_db = self.trials.level_db[clips] + self.trials.gain_db[clips]
            made.append(answering.answer(answering.Heard(attribute, trial, sounds, reference, level_db), rng))
        return made

    def _of(self, rows: IntArray, clips: IntArray) -> FloatArray:
        slot, cell = self.trials.slot[rows], self.trials.cell[rows]
        found = np.empty(len(rows))
        for c, heard in enumerate(self.heard):
            here = cell == c
            found[here] = heard[slot[here], clips[here]]
        apart: FloatArray = self.of_session[slot, self.trials.session[rows], self.condition[clips]]
        return found + apart


def _offered(attribute: PlannedAttribute) -> tuple[str, ...]:
    sounds = tasks.named(attribute.task).sounds or 2
    return ("first", "second", "third")[:sounds]


def _right(
    attribute: PlannedAttribute, trial: PlannedTrial, effects: Effects | None, condition: Mapping[str, str]
) -> str:
    """What one who hears every difference answers; empty for tasks without a right answer."""
    task = tasks.named(attribute.task)
    if task.family != "discrimination" or effects is None:
        return ""
    places = sorted(effects.strength, key=lambda name: (effects.strength[name], name))
    sounds = np.array([FAR_APART * places.index(condition[clip]) for clip in trial.clips])
    if task.picks == "more":
        return "first" if sounds[0] >= sounds[-1] else "second"
    reference = None
    if trial.reference is not None:
        reference = FAR_APART * places.index(condition[trial.reference])
    heard = answering.Heard(attribute, trial, sounds, reference, np.zeros(len(sounds)))
    return answering.answer(heard, np.random.default_rng(0))
