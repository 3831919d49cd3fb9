"""A first answer without simulation: the planned contrast taken as normal."""

import math
from dataclasses import dataclass

import numpy as np

from listening.planning import panel_size
from listening.planning.panel_size import FIRST, SECOND, Trials
from listening.records.planned_power import Assumed
from stats import t_interval


@dataclass(frozen=True)
class Approximate:
    """The planned contrast by its normal approximation."""

    se: float
    """Standard error of the contrast, log-odds."""
    df: float
    power: float
    """Chance of `supported` for a question of kind `more`."""


def power(
    made: Trials, listeners: int, effect_logit: float, *, delta_logit: float, alpha: float, assumed: Assumed
) -> Approximate:
    """Chance that the contrast is found above zero and at least `delta_logit`.

    Parameters
    ----------
    delta_logit : smallest effect that matters, 0 for none
    """
    se = standard_error(made, listeners, effect_logit, assumed)
    strikes = len(made.stimuli) / len(made.conditions)
    squares = float((panel_size.differences(made).mean(axis=0) ** 2).sum())
    from_stimuli = squares * assumed.spread_stimuli**2 / strikes if strikes > 1 else 0.0
    df = t_interval.together(se**2 - from_stimuli, listeners - 1.0, from_stimuli, 2.0 * (strikes - 1))
    above_zero = _beyond_t(effect_logit / se, t_interval.quantile(1 - alpha, df), df)
    above_delta = upper_normal((delta_logit - effect_logit) / se)
    return Approximate(se, df, min(above_zero, above_delta))


def standard_error(made: Trials, listeners: int, effect_logit: float, assumed: Assumed) -> float:
    """Standard error of the contrast: answer noise, spread of listeners, spread of stimuli.

    The noise comes from the logistic information of the trials at the true strengths, with the order effect.
    """
    keep = made.slot < listeners
    condition = made.condition[keep]
    k, n = len(made.conditions), int(keep.sum())
    strength = panel_size.true_strengths(made, effect_logit)
    columns = np.zeros((n, k + 1))
    columns[np.arange(n), condition[:, FIRST]] += 1.0
    columns[np.arange(n), condition[:, SECOND]] -= 1.0
    columns[:, k] = 1.0
    chance = 1.0 / (1.0 + np.exp(-(columns[:, :k] @ strength)))
    information = columns.T @ (columns * (chance * (1.0 - chance))[:, None])
    weights = np.zeros(k + 1)
    weights[:k] = panel_size.differences(made).mean(axis=0)
    noise = float(weights @ np.linalg.pinv(information) @ weights)
    strikes = len(made.stimuli) / k
    squares = float((weights**2).sum())  # 2 for one pair
    listeners_part = squares / 2 * assumed.spread_listeners**2 / listeners
    stimuli_part = squares * assumed.spread_stimuli**2 / strikes
    return math.sqrt(noise + listeners_part + stimuli_part)


def _beyond_t(shift: float, t: float, df: float) -> float:
    """Chance that Student's t, shifted by a true effect of so many standard errors, passes t.

    Source: Johnson & Welch 1940, Biometrika 31, the usual normal approximation of the non-central t.
    """
    return upper_normal((t * (1 - 1 / (4 * df)) - shift) / math.sqrt(1 + t**2 / (2 * df)))


def upper_normal(z: float) -> float:
    """Chance that a standard normal value is above z."""
    return 0.5 * math.erfc(z / math.sqrt(2))
