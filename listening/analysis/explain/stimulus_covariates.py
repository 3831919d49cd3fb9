"""What the stimuli differ in, trial by trial: level in dB, brightness and decay in doublings."""

from collections.abc import Mapping

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from listening.records.protocols.protocol_parts import Covariates
from listening.records.sounds.manifest import Manifest

NAMES = ("level", "brightness", "decay")
DOUBLING = "doubling"
LOGARITHMIC = ("_db", "_lufs", "_dbtp", "_phon")  # already on a scale of equal ratios


def metrics(chosen: Covariates) -> dict[str, str]:
    """Covariate → metric."""
    return {name: getattr(chosen, name) for name in NAMES}


def per(metric: str) -> str:
    """The step that a slope belongs to."""
    if metric.endswith(LOGARITHMIC):
        return "1 phon" if metric.endswith("_phon") else "1 dB"
    return DOUBLING


def scaled(metric: str, value: float | None) -> float:
    """A metric's value in steps of `per`; not a number where it cannot be had."""
    if value is None or (not metric.endswith(LOGARITHMIC) and value <= 0):
        return float("nan")
    return value if metric.endswith(LOGARITHMIC) else float(np.log2(value))


def unscaled(metric: str, value: float) -> float:
    """The metric's value from steps of `per`: the inverse of `scaled`."""
    return value if metric.endswith(LOGARITHMIC) else float(2.0**value)


def differences(
    rows: pd.DataFrame, manifest: Manifest, chosen: Mapping[str, str]
) -> dict[str, NDArray[np.float64]]:
    """First minus second for each covariate, as played; a covariate that some stimulus lacks is left out."""
    columns = {}
    for name, metric in chosen.items():
        value = {s.stimulus: scaled(metric, s.after.get(metric)) for s in manifest.stimuli}
        column = rows["stimulus_first"].map(value) - rows["stimulus_second"].map(value)
        if metric.endswith(LOGARITHMIC):
            column = column + rows["gain_difference_db"]
        if not column.isna().any():
            columns[name] = column.to_numpy(float)
    return columns
