"""What a plan lets be said beyond level: control gains, level left by matching, and level as it is asked for.

The rule is that of the analysis (`level_taken`): what level may do is what the next control gain above it
does, by each level metric and as the two are heard; what no gain reaches has no bound.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise, product

import numpy as np
from numpy.typing import NDArray

from listening.errors import StudyError
from listening.planning import panel_size
from listening.planning.panel_size import Trials
from listening.records.kinds import metric_register, tasks
from listening.records.protocols.contrasts import Pair
from listening.records.protocols.planned_power import Assumed
from listening.records.protocols.protocol import AS_RECORDED, Protocol, Question
from listening.records.sounds.manifest import Manifest
from listening.simulate.true_effects import SLOPE_SPREAD
from stats.deciding import level_bound, share_power
from stats.deciding.share_power import LevelTaken, PlannedPair

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Gain:
    """Control pairs of one gain."""

    gain_db: float
    answers: int
    """Of each listener."""


@dataclass(frozen=True)
class LevelPlan:
    """How level is bounded in one question."""

    gains: tuple[Gain, ...]
    """Of the question's attribute, growing."""
    residual_db: Mapping[str, FloatArray]
    """By level metric: of every two strikes that are compared, how much stronger `more` is."""
    loudness: str | None
    """The attribute that asks which is louder; None where nobody is asked it of these sounds."""
    loudness_gains: tuple[Gain, ...]
    heard: Trials | None
    """The trials that ask which is louder of the pairs."""
    stronger_db: Mapping[Pair, float]
    """By pair of the question, how much stronger its first is by LAFmax, mean over strikes."""

    def cases(
        self,
        listeners: int,
        *,
        alpha: float,
        assumed: Assumed,
        louder: Mapping[Pair, float] | None = None,
    ) -> tuple[LevelTaken, ...]:
        """What level's largest part takes off the share, by the control gain that bounds it.

        Parameters
        ----------
        alpha : of the question itself, with which level as heard is limited
        louder : log-odds with which `more` of a pair is called louder; left out, by what matching left over
        """
        measured = self._measured(listeners, assumed)
        if measured is None:
            return ()
        if self.heard is None:
            return (measured,)
        limits = self._heard_limits(listeners, alpha, assumed, louder or self.louder(assumed))
        made = []
        for gain_db, chance in limits:
            there = self._next(gain_db)
            if there is not None and chance > 0:
                share, variance = self._moved(there, listeners, assumed)
                part = max((share, variance), (measured.part, measured.variance))
                made.append(LevelTaken(chance, *part))
        return tuple(made)

    def louder(self, assumed: Assumed) -> dict[Pair, float]:
        """Log-odds with which the first of each pair is called louder, by what matching left over alone."""
        return {pair: assumed.level_logit_per_db * db for pair, db in self.stronger_db.items()}

    def _measured(self, listeners: int, assumed: Assumed) -> LevelTaken | None:
        """The largest part over the level metrics; None where a residual lies above every gain."""
        found = LevelTaken(1.0, 0.0, 0.0)
        for residual in self.residual_db.values():
            part = variance = 0.0
            for one in residual:
                there = self._next(abs(one))
                if there is None and one:
                    return None
                if there is not None and one > 0:
                    share, of_share = self._moved(there, listeners, assumed)
                    part += share / residual.size
                    variance = max(variance, of_share)
            found = max(found, LevelTaken(1.0, part, variance), key=lambda one: one.part)
        return found

    def _next(self, level_db: float) -> Gain | None:
        near = level_bound.tolerance_db
        return next((g for g in self.gains if level_db <= g.gain_db + near(g.gain_db)), None)

    def _moved(self, gain: Gain, listeners: int, assumed: Assumed) -> tuple[float, float]:
        found = share_power.expected(control(gain, listeners, assumed.logit_per_db, assumed))
        return found.share - share_power.EVEN, found.from_listeners

    def _heard_limits(
        self, listeners: int, alpha: float, assumed: Assumed, louder: Mapping[Pair, float]
    ) -> list[tuple[float, float]]:
        """Each gain of the question which is louder, with the chance that it is the smallest heard as louder.

        The other way round a limit is wanted too, below what the question's own gains reach.
        """
        above = self._called_louder(listeners, alpha, assumed, louder)
        turned = {pair: -louder.get(pair, 0.0) for pair in self.stronger_db}
        below = [one for one in self._called_louder(listeners, alpha, assumed, turned) if self._next(one[0])]
        if not below:
            return []
        last_db, least = below[-1]
        reached = [0.0]
        for gain, (db, chance) in zip(self.loudness_gains, above, strict=True):
            goes_along = self._goes_along(gain, listeners, assumed, is_same=db == last_db)
            reached.append(max(reached[-1], share_power.both(chance, least, goes_along)))
        gains = [db for db, _ in above]
        return [(db, after - before) for db, (before, after) in zip(gains, pairwise(reached), strict=True)]

    def _goes_along(self, gain: Gain, listeners: int, assumed: Assumed, *, is_same: bool) -> float:
        """Correlation of the two tests of what is heard: the pair's share is in both, with other signs."""
        assert self.heard is not None  # for the type checker: the caller looked
        met = panel_size.met(self.heard, next(iter(self.stronger_db)), listeners, 0.0, assumed)
        pair = share_power.expected(met)
        there = share_power.expected(control(gain, listeners, assumed.level_logit_per_db, assumed))
        of_pair = pair.from_listeners + sum(pair.from_strikes)
        of_gain = there.from_listeners
        return ((of_gain if is_same else 0.0) - of_pair) / (of_gain + of_pair)

    def _called_louder(
        self, listeners: int, alpha: float, assumed: Assumed, louder: Mapping[Pair, float]
    ) -> list[tuple[float, float]]:
        """Each gain, growing, with the chance that it or a smaller one is called louder than every pair."""
        assert self.heard is not None  # for the type checker: the caller looked
        made, so_far = [], 0.0
        for gain in self.loudness_gains:
            there = control(gain, listeners, assumed.level_logit_per_db, assumed)
            every = 1.0
            for pair in self.stronger_db:
                met = panel_size.met(self.heard, pair, listeners, louder.get(pair, 0.0), assumed)
                every *= share_power.called_less(met, there, alpha=alpha) if met.answers else 0.0
            so_far = max(so_far, every)  # whoever hears a gain hears a larger one
            made.append((gain.gain_db, so_far))
        return made


def control(gain: Gain, listeners: int, logit_per_db: float, assumed: Assumed) -> PlannedPair:
    """Answers to the control pairs of a gain: the same strike on both sides, so strikes do not vary."""
    logit = logit_per_db * gain.gain_db
    spread = SLOPE_SPREAD * logit
    return PlannedPair(listeners, gain.answers, (1, 1), logit, spread, 0.0, assumed.lapses)


def of_question(
    protocol: Protocol, manifest: Manifest, question: Question, *, listeners: int = 2
) -> LevelPlan | None:
    """How level is bounded in a question; None where the analysis takes none off.

    Parameters
    ----------
    protocol : of one stage
    listeners : for so many the trials that ask which is louder are made
    """
    attribute = protocol.attribute(question.attribute)
    compared = tasks.named(attribute.task).family == "choice"
    if not compared or attribute.about_level or question.presentation == AS_RECORDED:
        return None
    loudness = protocol.paired_loudness
    heard = None
    if loudness is not None:
        heard = _heard(protocol, manifest, question, loudness, listeners)
    return LevelPlan(
        gains=gains(protocol, question.attribute),
        residual_db=_residual_db(manifest, question),
        loudness=loudness if heard else None,
        loudness_gains=gains(protocol, loudness) if loudness is not None and heard else (),
        heard=heard,
        stronger_db={pair: _stronger_db(manifest, pair, question) for pair in question.contrast.pairs},
    )


def gains(protocol: Protocol, attribute: str) -> tuple[Gain, ...]:
    """Control pairs of an attribute that differ in level, growing."""
    answers: dict[float, int] = {}
    for table in protocol.controls:
        for gain_db in table.gains_db if table.attribute == attribute else ():
            answers[gain_db] = answers.get(gain_db, 0) + table.repeats
    return tuple(Gain(gain_db, n) for gain_db, n in sorted(answers.items()) if gain_db > 0)


def _heard(
    protocol: Protocol, manifest: Manifest, question: Question, loudness: str, listeners: int
) -> Trials | None:
    """The trials that ask which is louder; None where a pair of the question is not asked so."""
    asked = question.model_copy(update={"attribute": loudness})
    try:
        made = panel_size.trials(protocol, manifest, asked, listeners=listeners)
    except (StudyError, StopIteration):  # no such block, or a pair that is not in it
        return None
    met = [panel_size.met(made, pair, listeners, 0.0, Assumed()) for pair in question.contrast.pairs]
    return made if all(one.answers for one in met) else None


def _residual_db(manifest: Manifest, question: Question) -> dict[str, FloatArray]:
    """By level metric, how much stronger each strike of `more` is than each of `than`."""
    made: dict[str, FloatArray] = {}
    for metric in metric_register.LEVEL_KEYS:
        apart = [
            one - other
            for more, than in question.contrast.pairs
            for one, other in product(
                _levels(manifest, more, question.presentation, metric),
                _levels(manifest, than, question.presentation, metric),
            )
        ]
        if apart:
            made[metric] = np.array(apart)
    return made


def _stronger_db(manifest: Manifest, pair: Pair, question: Question) -> float:
    more, than = (_levels(manifest, name, question.presentation, "laf_max_db") for name in pair)
    return float(np.mean(more) - np.mean(than)) if more and than else 0.0


def levels_db(manifest: Manifest, stimuli: Sequence[str]) -> dict[str, FloatArray]:
    """By level metric, the level of each of these stimuli; a metric that is not known of all is left out."""
    after = [manifest.of(name).after for name in stimuli]
    known = {metric: [one.get(metric) for one in after] for metric in metric_register.LEVEL_KEYS}
    return {m: np.array(values, dtype=float) for m, values in known.items() if None not in values}


def _levels(manifest: Manifest, condition: str, presentation: str, metric: str) -> Sequence[float]:
    return [
        value
        for s in manifest.stimuli
        if (s.condition, s.presentation) == (condition, presentation)
        and (value := s.after.get(metric)) is not None
    ]
