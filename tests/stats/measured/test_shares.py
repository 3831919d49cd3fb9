"""Shares of a heard difference: published, by hand, and covered as often as stated."""

import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from stats.errors import BadData
from stats.measured import variance_shares

PUBLISHED = Path(__file__).parents[2] / "published"
SWISS = tomllib.loads((PUBLISHED / "heard_measured.toml").read_text())["swiss"]
NAMES = ("level", "brightness", "decay")


def unsaid(columns: dict[str, np.ndarray]) -> dict[frozenset[str], np.ndarray]:
    n = len(next(iter(columns.values())))
    return {
        some: variance_shares.residual_maker(
            np.array([columns[name] for name in sorted(some)]).reshape(-1, n).T
        )
        for some in variance_shares.subsets(list(columns))
    }


def swiss() -> variance_shares.Shares:
    data = pd.read_csv(PUBLISHED / "swiss.csv", index_col=0)
    columns = {name: data[name].to_numpy(float) for name in data.columns[1:]}
    n = len(data)
    return variance_shares.decompose(
        data["Fertility"].to_numpy(float), np.zeros((n, n)), unsaid(columns), list(columns)
    )


def test_averaged_shares_are_the_published_ones():
    found = swiss()
    for name, share in zip(found.names, found.averaged, strict=True):
        assert share.estimate == pytest.approx(SWISS["averaged"][name], abs=5e-9)  # printed to 8 places


def test_averaged_shares_and_what_is_left_over_are_the_whole():
    found = swiss()
    assert found.left_over.estimate == pytest.approx(1 - SWISS["fit"]["r_squared"], abs=5e-11)
    assert sum(s.estimate for s in found.averaged) + found.left_over.estimate == pytest.approx(1, abs=1e-12)


def test_two_properties_by_hand():
    """y = (2, 0, -2, 0), a = (1, 0, -1, 0): all of it; b = (1, -1, -1, 1), at right angles to a: none."""
    columns = {"a": np.array([1.0, 0, -1, 0]), "b": np.array([0.0, 1, 0, -1])}
    found = variance_shares.decompose(
        np.array([2.0, 1, -2, -1]), np.zeros((4, 4)), unsaid(columns), ["a", "b"]
    )
    for kind in (found.alone, found.on_top, found.averaged):  # sums of squares 8 and 2 of 10
        assert [s.estimate for s in kind] == pytest.approx([0.8, 0.2], abs=1e-12)
    assert found.total == pytest.approx(10, abs=1e-12)


def test_noise_is_taken_off_the_whole():
    """Six values of pure noise of variance 2 about their mean: 5 * 2 is expected, and goes."""
    v = 2.0 * variance_shares.residual_maker(np.zeros((6, 0)))
    y = np.array([1.0, -1, 1, -1, 2, -2])
    found = variance_shares.decompose(y, v, unsaid({"a": np.arange(6.0)}), ["a"])
    assert found.total == pytest.approx(12 - 10, abs=1e-12)
    assert not found.averaged[0].bounded  # 12 of 10 is nothing to take shares of


def test_shares_do_not_depend_on_the_order_of_names():
    rng = np.random.default_rng(3)
    columns = {name: rng.normal(size=7) for name in NAMES}
    y, v = rng.normal(size=7) + 2 * columns["decay"], 0.01 * np.eye(7)
    one = variance_shares.decompose(y, v, unsaid(columns), NAMES, df=9)
    other = variance_shares.decompose(y, v, unsaid(columns), NAMES[::-1], df=9)
    for a, b in zip(one.averaged, other.averaged[::-1], strict=True):
        assert (a.lower, a.estimate, a.upper) == pytest.approx((b.lower, b.estimate, b.upper), abs=1e-8)


def test_what_enters_first_shares_with_no_other():
    """b is a and something else; y is a: with a first, b has nothing; without, both share alike a's part."""
    columns = {"a": np.array([1.0, 0, -1, 0]), "b": np.array([1.0, 1, -1, -1])}
    y = np.array([1.0, 0, -1, 0])
    free = variance_shares.decompose(y, np.zeros((4, 4)), unsaid(columns), ["a", "b"])
    first = variance_shares.decompose(y, np.zeros((4, 4)), unsaid(columns), ["a", "b"], first=["a"])
    assert [s.estimate for s in free.averaged] == pytest.approx([0.75, 0.25], abs=1e-12)  # b alone says half
    assert [s.estimate for s in first.averaged] == pytest.approx([1, 0], abs=1e-12)


def test_a_missing_subset_and_nothing_to_share_are_named():
    columns = {"a": np.arange(4.0), "b": np.array([1.0, 0, 0, 1])}
    made = unsaid(columns)
    del made[frozenset({"a", "b"})]
    with pytest.raises(BadData, match="shares of a, b: nothing"):
        variance_shares.decompose(np.ones(4), np.eye(4), made, ["a", "b"])
    with pytest.raises(BadData, match="nothing differs"):
        variance_shares.decompose(np.zeros(4), np.zeros((4, 4)), unsaid(columns), ["a", "b"])


def coverage(heard: tuple[str, ...], runs: int, sd: float, seed: int) -> dict[str, np.ndarray]:
    """How often each kind of interval holds the true share, conditions and properties drawn anew."""
    rng = np.random.default_rng(seed)
    k, centred = 6, variance_shares.residual_maker(np.zeros((6, 0)))
    held = {kind: np.zeros(3) for kind in ("alone", "on_top", "averaged")}
    for _ in range(runs):
        columns = {name: rng.normal(size=k) for name in NAMES}
        truth = centred @ np.sum([columns[name] for name in heard], axis=0)
        y = truth + centred @ rng.normal(0, sd, k)
        found = variance_shares.decompose(y, sd**2 * centred, unsaid(columns), NAMES, df=12)
        whole = truth @ found.weights["total"] @ truth
        for kind, count in held.items():
            for j, (name, share) in enumerate(zip(NAMES, getattr(found, kind), strict=True)):
                part = truth @ found.weights[f"{kind.replace('_', ' ')} {name}"] @ truth
                count[j] += not share.bounded or share.lower - 1e-9 <= part / whole <= share.upper + 1e-9
    return {kind: count / runs for kind, count in held.items()}


@pytest.mark.slow
@pytest.mark.parametrize("heard", [("level",), ("brightness",), ("level", "brightness"), NAMES], ids=str)
@pytest.mark.parametrize("sd", [0.15, 0.35])
def test_intervals_hold_the_truth_as_often_as_they_say(heard, sd, capsys):
    found = coverage(heard, runs=1500, sd=sd, seed=8)
    with capsys.disabled():
        print(f"\n{heard} sd {sd}:", {kind: share.round(3).tolist() for kind, share in found.items()})
    # 0.95 less three Monte Carlo standard errors of 0.0056, and 0.02 granted to the delta-like moments
    assert min(share.min() for share in found.values()) >= 0.95 - 3 * 0.0056 - 0.02
