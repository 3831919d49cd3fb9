"""Strengths from paired comparisons: published fits, exact cases, invariances, and what cannot be fitted."""

import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from stats.errors import BadData, NotConnected, NotIdentified, Separated
from stats.pairs import bradley_terry, comparisons

PUBLISHED = Path(__file__).parents[2] / "published"
REFERENCE = tomllib.loads((PUBLISHED / "bradley_terry.toml").read_text())


def table(name):
    data = pd.read_csv(PUBLISHED / f"{name}.csv")
    first, second, won, lost = data.columns[:4]
    return comparisons.collect(data[first], data[second], data[won], data[lost])


def springall():
    data = pd.read_csv(PUBLISHED / "springall.csv")
    half = 0.5 * data.tie
    return comparisons.collect(data.item1, data.item2, data.win1 + half, data.win2 + half)


@pytest.mark.parametrize(
    ("name", "key", "options"),
    [
        ("baseball", "baseball_plain", {}),
        ("baseball", "baseball_order", {"order": True}),
        ("citations", "citations", {}),
    ],
    ids=["plain", "order", "citations"],
)
def test_strengths_agree_with_the_reference_fit(name, key, options):
    found = bradley_terry.fit(table(name), **options)
    expected = REFERENCE[key]
    names = [n.replace("first", "order") for n in expected["estimate"]]
    assert list(found.names) == names
    np.testing.assert_allclose(found.estimate, list(expected["estimate"].values()), atol=1e-6)
    np.testing.assert_allclose(found.se, list(expected["se"].values()), rtol=1e-4)
    assert found.loglik == pytest.approx(expected["loglik"], abs=1e-6)
    centred, covariance = found.centred()
    np.testing.assert_allclose(centred, list(expected["zero_sum"].values()), atol=1e-6)
    np.testing.assert_allclose(
        np.sqrt(np.diag(covariance)), list(expected["zero_sum_se"].values()), rtol=1e-4
    )
    assert bradley_terry.equal_loglik(bradley_terry.fit(table(name)))[0] == pytest.approx(
        expected["loglik_equal"], abs=1e-6
    )


def test_equality_and_order_tests_agree_with_the_reference():
    plain, order = (bradley_terry.fit(table("baseball"), order=flag) for flag in (False, True))
    expected = REFERENCE["baseball_order"]
    assert bradley_terry.equality(plain).statistic == pytest.approx(
        REFERENCE["baseball_plain"]["lr_equal"], abs=1e-6
    )
    test = bradley_terry.compare(plain, order)
    assert (test.statistic, test.p, test.df) == pytest.approx(
        (expected["lr_order"], expected["p_order"], 1), abs=1e-6
    )


def test_probit_agrees_with_the_reference_fit():
    found = bradley_terry.fit(table("baseball"), link="probit")
    expected = REFERENCE["baseball_probit"]
    np.testing.assert_allclose(found.estimate, list(expected["estimate"].values()), atol=1e-6)
    assert found.loglik == pytest.approx(expected["loglik"], abs=1e-6)
    # the reference's errors come from the expected information, ours from the observed
    np.testing.assert_allclose(found.expected_se(), list(expected["se_expected"].values()), rtol=1e-4)
    assert np.abs(found.se / found.expected_se() - 1).max() < 0.02


def test_covariates_replace_free_strengths():
    data = springall()
    items = pd.read_csv(PUBLISHED / "springall_items.csv").set_index("item").loc[list(data.items)]
    surface = np.column_stack([items.flav, items.gel, items.flav**2, items.gel**2, items.flav * items.gel])
    found = bradley_terry.fit(data, covariates=surface)
    expected = REFERENCE["springall_surface"]
    np.testing.assert_allclose(found.estimate, list(expected["estimate"].values()), atol=1e-6)
    np.testing.assert_allclose(found.se, list(expected["se"].values()), rtol=1e-4)
    assert found.loglik == pytest.approx(expected["loglik"], abs=1e-6)
    test = bradley_terry.compare(found, bradley_terry.fit(data))
    assert test.df == 3


@pytest.mark.parametrize("key", ["separated", "baseball"])
def test_penalised_fit_agrees_with_the_reference(key):
    if key == "separated":
        found = bradley_terry.fit(table("separated_one_dominates"), reference="B", penalised=True)
        expected, ses = REFERENCE["separated"]["firth"], REFERENCE["separated"]["firth_se"]
        loglik = REFERENCE["separated"]["firth_loglik"]
    else:
        found = bradley_terry.fit(table("baseball"), penalised=True)
        expected, ses = REFERENCE["baseball_firth"]["estimate"], REFERENCE["baseball_firth"]["se"]
        loglik = REFERENCE["baseball_firth"]["loglik"]
    np.testing.assert_allclose(found.estimate, list(expected.values()), atol=1e-6)
    np.testing.assert_allclose(found.se, list(ses.values()), rtol=1e-4)
    assert found.loglik == pytest.approx(loglik, abs=1e-6)


def test_two_items_give_the_logarithm_of_the_odds():
    found = bradley_terry.fit(comparisons.collect(["b"], ["a"], [30.0], [10.0]))
    assert found.reference == "a"
    assert found.estimate[0] == pytest.approx(np.log(3.0), abs=1e-12)
    assert found.se[0] == pytest.approx(np.sqrt(1 / 30 + 1 / 10), rel=1e-12)


def test_item_names_and_order_of_rows_change_nothing():
    data = pd.read_csv(PUBLISHED / "baseball.csv").sample(frac=1.0, random_state=1)
    other = {f"T{j}": name for j, name in zip(range(1, 8), "gcafbed", strict=True)}
    found = bradley_terry.fit(
        comparisons.collect(
            data["first"].map(other), data["second"].map(other), data.win_first, data.win_second
        ),
        reference=other["T1"],
    )
    plain = bradley_terry.fit(table("baseball"))
    for name, estimate in zip(plain.names, plain.estimate, strict=True):
        assert found.estimate[found.names.index(other[name])] == pytest.approx(estimate, abs=1e-10)


def test_doubled_counts_keep_estimates_and_shrink_errors_by_the_root_of_two():
    data = table("baseball")
    twice = comparisons.add_up(
        data.items, data.first, data.second, 2 * data.won, 2 * data.lost, 2 * data.tied
    )
    plain, found = bradley_terry.fit(data, order=True), bradley_terry.fit(twice, order=True)
    np.testing.assert_allclose(found.estimate, plain.estimate, atol=1e-10)
    np.testing.assert_allclose(found.se * np.sqrt(2), plain.se, rtol=1e-9)


def test_any_reference_gives_the_same_differences():
    data = table("citations")
    one, other = bradley_terry.fit(data), bradley_terry.fit(data, reference="J3")
    assert one.difference("J2", "J4") == pytest.approx(other.difference("J2", "J4"), abs=1e-10)


def test_known_strengths_are_recovered_with_errors_of_the_stated_size():
    truth = np.array([0.0, 0.4, -0.7, 1.1, 0.2])
    first, second = np.nonzero(~np.eye(5, dtype=bool))
    p = 1 / (1 + np.exp(-(0.3 + truth[first] - truth[second])))
    scaled = []
    for seed in range(100):
        won = np.random.default_rng(seed).binomial(200, p).astype(float)
        data = comparisons.add_up(tuple("abcde"), first, second, won, 200 - won, 0 * won)
        found = bradley_terry.fit(data, order=True)
        scaled.append((found.estimate - [*truth[1:], 0.3]) / found.se)
    # Monte Carlo: mean 0 +- 1 / sqrt(100), standard deviation 1 +- 1 / sqrt(200); 4 of these allowed
    np.testing.assert_allclose(np.mean(scaled, axis=0), 0.0, atol=0.4)
    np.testing.assert_allclose(np.std(scaled, axis=0), 1.0, atol=0.29)


def test_an_item_that_never_lost_is_named():
    with pytest.raises(Separated, match="A never lost"):
        bradley_terry.fit(table("separated_one_dominates"))


def test_a_first_interval_that_always_won_is_named():
    names = ["a", "b", "c"]
    first = [i for i in names for j in names if i != j]
    second = [j for i in names for j in names if i != j]
    with pytest.raises(Separated, match="order"):
        bradley_terry.fit(comparisons.collect(first, second, [5.0] * 6, [0.0] * 6), order=True)


def test_an_order_that_settles_a_pair_is_named():
    data = comparisons.collect(["a", "b"], ["b", "a"], [1.0, 1.0], [0.0, 1.0])
    with pytest.raises(Separated, match="order"):
        bradley_terry.fit(data, order=True)


def test_groups_never_compared_are_named():
    with pytest.raises(NotConnected, match="A, B; C, D"):
        bradley_terry.fit(table("disconnected"))


def test_ties_without_a_model_of_ties_are_refused():
    data = comparisons.collect(["a"], ["b"], [3.0], [2.0], [1.0])
    with pytest.raises(BadData, match="1 answers are ties"):
        bradley_terry.fit(data)


def test_an_item_against_itself_is_refused():
    with pytest.raises(BadData, match="row 2 compares b with itself"):
        comparisons.collect(["a", "b"], ["b", "b"], [1.0, 1.0], [1.0, 1.0])


def test_covariates_that_repeat_each_other_are_refused():
    data = table("baseball")
    x = np.random.default_rng(0).normal(size=data.first.size)
    with pytest.raises(NotIdentified, match="repeat"):
        bradley_terry.fit(data, covariates=np.column_stack([x, 2 * x]))
