"""Ratings: how listeners and strikes vary is taken from the two compared conditions, not from the rest."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from listening.analysis.ratings import rating_model
from stats import t_interval

ASKED: Any = SimpleNamespace(contrast=SimpleNamespace(more="a", than="b"))
STUDIES = 300
AT_MOST = 0.05 + 3 * np.sqrt(0.05 * 0.95 / STUDIES)  # alpha and three Monte Carlo errors


def ratings(
    rng: np.random.Generator, strikes_sd: tuple[float, ...], views_sd: tuple[float, ...]
) -> pd.DataFrame:
    """24 listeners rate three strikes of six conditions once; all conditions are alike on average."""
    rows = []
    quirk = {(c, s): rng.normal(0, sd) for c, sd in zip("abcdef", strikes_sd, strict=True) for s in range(3)}
    for number in range(24):
        own = rng.normal(0, 8)
        for c, sd in zip("abcdef", views_sd, strict=True):
            view = own + rng.normal(0, sd)
            rows += [
                (f"L{number:02d}", c, f"{c}{s}", "", "", view + quirk[c, s] + rng.normal(0, 10))
                for s in range(3)
            ]
    names = ["listener", "condition", "stimulus", "against", "stimulus_against", "score"]
    return pd.DataFrame(rows, columns=names)


def fitted(rows: pd.DataFrame) -> rating_model.RatedFit:
    return rating_model.fit(rows, ASKED, "none", "none", 0.0, 0.0)


def test_other_conditions_leave_the_limits_alone() -> None:
    rows = ratings(np.random.default_rng(1), (6, 6, 1, 1, 1, 1), (3,) * 6)
    two = rows[rows["condition"].isin(["a", "b"])]
    one, other = fitted(rows), fitted(two.reset_index(drop=True))
    assert (one.estimate, one.se, one.df) == pytest.approx((other.estimate, other.se, other.df), rel=1e-9)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("strikes_sd", "views_sd"),
    [((6, 6, 1, 1, 1, 1), (3,) * 6), ((1,) * 6, (12, 12, 2, 2, 2, 2))],
    ids=["strikes", "views"],
)
def test_where_the_compared_two_vary_more_they_are_called_different_no_oftener_than_alpha(
    strikes_sd: tuple[float, ...], views_sd: tuple[float, ...]
) -> None:
    above = []
    for seed in range(STUDIES):
        found = fitted(ratings(np.random.default_rng(seed), strikes_sd, views_sd))
        above.append(t_interval.of(found.estimate, found.se, found.df, 0.9)[0] > 0)
    assert np.mean(above) <= AT_MOST
