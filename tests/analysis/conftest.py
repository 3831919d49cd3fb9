"""Answers of panels with known truth, made in memory: the table that `collect.frame` would give."""

from collections.abc import Callable
from itertools import combinations

import numpy as np
import pandas as pd
import pytest

Panel = Callable[..., pd.DataFrame]


def answers(
    rng: np.random.Generator,
    strengths: dict[str, float],
    *,
    n_listeners: int = 24,
    repeats: int = 2,
    strikes: int = 3,
    sd_listener: float = 0.4,
    sd_stimulus: float = 0.15,
    order: float = 0.2,
    lapse: float = 0.02,
    careless: float = 0.0,
    slope_logit_per_db: float = 0.0,
    level_db: dict[str, float] | None = None,
    control_gains_db: tuple[float, ...] = (3.0, 6.0),
    control_repeats: int = 2,
    attribute: str = "brightness",
    presentation: str = "matched",
) -> pd.DataFrame:
    """All pairs of conditions, each heard `repeats` times by every listener, strikes in turn."""
    names = list(strengths)
    level = {name: (level_db or {}).get(name, 0.0) for name in names}
    quirk = {(c, s): rng.normal(0, sd_stimulus) for c in names for s in range(strikes)}
    rows: list[dict[str, object]] = []
    for number in range(n_listeners):
        own = {c: strengths[c] + rng.normal(0, sd_listener / np.sqrt(2)) for c in names}
        own_slope = slope_logit_per_db * rng.lognormal(0, 0.2)
        guesses = rng.random() < careless
        pairs = [(c, d, 0.0) for c, d in combinations(names, 2) for _ in range(repeats)]
        pairs += [
            (names[rng.integers(len(names))], "", g) for g in control_gains_db for _ in range(control_repeats)
        ]
        for k, (c, d, gain) in enumerate(pairs):
            is_control = d == ""
            d = c if is_control else d
            s = (number + k) % strikes
            t = s if is_control else (number + k // strikes) % strikes
            difference_db = gain if is_control else level[c] - level[d]
            flip = (number + k) % 2 == 1
            effect = 0.0 if is_control else own[c] - own[d] + quirk[c, s] - quirk[d, t]
            effect += own_slope * difference_db
            sign = -1.0 if flip else 1.0
            chance = 1 / (1 + np.exp(-(order + sign * effect)))
            chance = 0.5 if guesses else lapse / 2 + (1 - lapse) * chance
            one = (c, f"{c}-{s}", 0.0)
            two = (d, f"{d}-{t}", -gain if is_control else 0.0)
            first, second = (two, one) if flip else (one, two)
            rows.append(
                {
                    "sitting": f"s{number}",
                    "listener": f"L{number:03d}",
                    "trial": f"{k:03d}",
                    "attribute": attribute,
                    "presentation": presentation,
                    "role": "control" if is_control else "study",
                    "condition_first": first[0],
                    "condition_second": second[0],
                    "stimulus_first": first[1],
                    "stimulus_second": second[1],
                    "gain_db_first": first[2],
                    "gain_db_second": second[2],
                    "gain_difference_db": first[2] - second[2],
                    "chosen": float(rng.random() < chance),
                    "response_s": 6.0 + rng.gamma(2, 0.5),
                    "plays": 1,
                    "simulated": True,
                    "laf_max_db_difference": sign * difference_db,
                    "lae_db_difference": sign * difference_db,
                }
            )
    return pd.DataFrame(rows)


@pytest.fixture
def panel() -> Panel:
    return answers
