"""How long each simulated listener sits, trial by trial, beside what the budget says beforehand."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from listening.planning.budget import Budget
from listening.records.protocols.protocol import Protocol
from listening.simulate.percepts import FloatArray, IntArray
from listening.simulate.true_effects import Answered, Trials

PLAYED_AGAIN = 0.15  # share of trials whose sounds are played once more, where that is allowed
ON_S = 0.5  # from the answer to the next trial


@dataclass(frozen=True)
class Lengths:
    """What the protocol says of times."""

    sound_s: FloatArray
    """(counted trials,) of one hearing of all sounds of a trial; 0 where they were heard just before."""
    once_s: float
    """Practice, introductions and breaks of the longest slot, its even part of each session."""
    plays: tuple[int, int]
    """At least and at most."""

    def minutes(
        self, trials: Trials, said: Answered, stayed: Mapping[int, bool], rng: np.random.Generator
    ) -> tuple[float, ...]:
        """Of each session of the listeners on these slots.

        Parameters
        ----------
        stayed : by slot of who finished, whether the last of several sessions was missed
        """
        again = (rng.random(len(self.sound_s)) < PLAYED_AGAIN) & (self.plays[1] > self.plays[0])
        each_s = self.sound_s * (self.plays[0] + again) + said.response_s + ON_S
        n = int(trials.session.max(initial=0)) + 1
        total_s = np.bincount(trials.slot * n + trials.session, weights=each_s, minlength=n)
        return tuple(
            float(total_s[slot * n + session] + self.once_s) / 60
            for slot, missed in stayed.items()
            for session in range(n - missed)
        )


def of_study(protocol: Protocol, trials: Trials, own: Budget) -> Lengths:
    """From the protocol's times and the budget of its longest slot."""
    sitting = protocol.sitting
    n_sounds: IntArray = np.array([len(trial.every) for trial in trials.planned])
    sound_s = n_sounds * protocol.trimming.length_s + (n_sounds - 1) * sitting.gap_s
    follows = np.array([trial.follows for trial in trials.planned])
    once_s = (own.practice_s + own.introductions_s + own.breaks_s) / protocol.sessions.number
    return Lengths(np.where(follows, 0.0, sound_s), once_s, (sitting.plays_at_least, sitting.plays_at_most))
