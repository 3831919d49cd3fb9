"""What repeated strikes and units say about a condition: mean, spread, expanded uncertainty, differences.

Source: JCGM 100:2008 (GUM): 4.2 type A evaluation, 6.2.1 expanded uncertainty; Welch 1947 for differences.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from listening.audio.sound import FloatArray
from listening.errors import SoundError

COVERAGE_FACTOR = 2.0  # GUM 6.3.3


@dataclass(frozen=True)
class Summary:
    """Mean of repeated measurements with what it is worth."""

    mean: float
    sd: float | None
    """of single strikes around their unit's mean; None for one strike a unit"""
    sd_units: float | None
    """of unit means; None for one unit"""
    standard_uncertainty: float | None
    """of the mean; of this unit only when there is one, None for one strike of one unit"""
    expanded_uncertainty: float | None
    """k = 2"""
    degrees_of_freedom: int
    n_strikes: int
    n_units: int


@dataclass(frozen=True)
class Difference:
    """First condition less second."""

    estimate: float
    low: float
    high: float
    level: float
    degrees_of_freedom: float


def summary(values: Sequence[float], units: Sequence[str] | None = None, *, type_b: float = 0.0) -> Summary:
    """Mean over specimens of the means over strikes, of one metric in one condition.

    Strikes of one specimen do not vary as specimens do: with several specimens the uncertainty comes from
    their means alone.

    Parameters
    ----------
    values : one value a strike, all in one unit of measure
    units : which specimen was struck; one specimen when left out
    type_b : standard uncertainty known otherwise, e.g. of the calibrator, in the values' unit

    Raises
    ------
    SoundError
        No values, or not as many units as values.
    """
    groups = _by_unit(values, units)
    means = np.array([g.mean() for g in groups])
    n, k = sum(len(g) for g in groups), len(groups)
    sd = float(np.sqrt(sum(((g - g.mean()) ** 2).sum() for g in groups) / (n - k))) if n > k else None
    sd_units = float(means.std(ddof=1)) if k > 1 else None
    spread, count = (sd_units, k) if sd_units is not None else (sd, n)
    u = None if spread is None else float(np.hypot(spread / np.sqrt(count), type_b))
    return Summary(
        mean=float(means.mean()),
        sd=sd,
        sd_units=sd_units,
        standard_uncertainty=u,
        expanded_uncertainty=None if u is None else COVERAGE_FACTOR * u,
        degrees_of_freedom=count - 1,
        n_strikes=n,
        n_units=k,
    )


def difference(first: Summary, second: Summary, *, level: float = 0.95) -> Difference:
    """Interval of the difference of two condition means, without assuming equal spread.

    Raises
    ------
    SoundError
        A condition has one strike only.
    """
    a, b = first.standard_uncertainty, second.standard_uncertainty
    if a is None or b is None:
        raise SoundError("a condition with one strike has no spread; record at least two strikes of each")
    u = float(np.hypot(a, b))
    parts = a**4 / first.degrees_of_freedom + b**4 / second.degrees_of_freedom
    freedom = u**4 / parts if parts > 0 else float(first.degrees_of_freedom + second.degrees_of_freedom)
    estimate = first.mean - second.mean
    half = float(special.stdtrit(freedom, 0.5 + level / 2)) * u
    return Difference(estimate, estimate - half, estimate + half, level, float(freedom))


def _by_unit(values: Sequence[float], units: Sequence[str] | None) -> list[FloatArray]:
    array = np.asarray(values, dtype=np.float64)
    if not len(array):
        raise SoundError("no values to summarise")
    names = ["one"] * len(array) if units is None else list(units)
    if len(names) != len(array):
        raise SoundError(f"{len(array)} values but {len(names)} units")
    return [array[[n == name for n in names]] for name in dict.fromkeys(names)]
