"""Estimates with a standard error and degrees of freedom: bounds and one-sided tails."""

import math

from scipy import special


def quantile(probability: float, df: float) -> float:
    """Quantile of Student's t; normal where df is infinite."""
    return float(special.ndtri(probability) if math.isinf(df) else special.stdtrit(df, probability))


def upper_tail(t: float, df: float) -> float:
    """Chance that Student's t passes `t`."""
    return float(special.ndtr(-t) if math.isinf(df) else special.stdtr(df, -t))


def of(estimate: float, se: float, df: float, level: float) -> tuple[float, float]:
    """Lower and upper bound that hold `level` between them.

    Parameters
    ----------
    estimate, se : the estimate and its standard error
    df : degrees of freedom; infinite: the normal distribution
    """
    reach = quantile((1 + level) / 2, df) * se
    return estimate - reach, estimate + reach


def together(from_listeners: float, df_listeners: float, from_stimuli: float, df_stimuli: float) -> float:
    """Degrees of freedom of a variance that is the sum of two, never more than the listeners'.

    Parameters
    ----------
    from_listeners, from_stimuli : the two variances, 0 or more
    df_listeners, df_stimuli : their degrees of freedom

    Source: Satterthwaite 1946, Biometrics Bull. 2, 110.
    """
    if from_stimuli == 0.0:
        return df_listeners
    scatter = from_listeners**2 / df_listeners + from_stimuli**2 / df_stimuli
    return min((from_listeners + from_stimuli) ** 2 / scatter, df_listeners)
