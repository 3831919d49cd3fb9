"""Agreement with oneself, with each other, with the panel: counted out, published, by hand."""

import tomllib
from itertools import combinations, permutations
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import stats as distributions

from stats import agreement
from stats.errors import BadData

PUBLISHED = Path(__file__).parents[1] / "published"
TRIADS = tomllib.loads((PUBLISHED / "discrimination.toml").read_text())["circular_triads"]
INTRACLASS = tomllib.loads((PUBLISHED / "intraclass.toml").read_text())["shrout_fleiss"]
RATING = tomllib.loads((PUBLISHED / "linear_mixed.toml").read_text())["rating_intraclass"]


def order(*items):
    """Choices of a listener who always takes the item that stands earlier."""
    beats = np.zeros((len(items), len(items)))
    for first, second in combinations(items, 2):
        beats[first, second] = 1
    return beats


@pytest.mark.parametrize("n", list(TRIADS))
def test_circular_triads_are_those_of_going_through_all_answers(n):
    assert list(agreement.triad_counts(int(n))) == TRIADS[n]


def test_ten_items_have_all_their_answers_counted():
    counts = agreement.triad_counts(10)
    assert sum(counts) == 2**45
    assert counts[0] == 3628800  # the orders of ten items


@pytest.mark.parametrize("seed", range(5))
def test_triads_of_one_listener_are_those_found_one_by_one(seed):
    rng = np.random.default_rng(seed)
    beats = np.triu(rng.integers(0, 2, (7, 7)), 1).astype(float)
    beats += np.tril(1 - beats.T, -1)
    circular = sum(
        any(beats[a, b] and beats[b, c] and beats[c, a] for a, b, c in permutations(three, 3))
        for three in combinations(range(7), 3)
    )
    assert agreement.circular_triads(beats).count == circular


@pytest.mark.parametrize(
    ("beats", "count", "consistency", "p"),
    [
        (order(0, 1, 2, 3, 4), 0, 1.0, 120 / 1024),
        (np.roll(np.eye(3), 1, axis=1), 1, 0.0, 1.0),
    ],
    ids=["no contradiction", "all circular"],
)
def test_extremes_of_consistency(beats, count, consistency, p):
    found = agreement.circular_triads(beats)
    assert (found.count, found.consistency, found.p) == (count, consistency, p)


def test_approximation_for_many_items_is_near_the_counted_chance(monkeypatch):
    beats = order(*range(10))
    for first, second in ((0, 9), (1, 8), (2, 9), (0, 6)):  # turned round: some 20 circular triads
        beats[first, second], beats[second, first] = 0, 1
    counted = agreement.circular_triads(beats)
    monkeypatch.setattr(agreement, "N_EXACT", 9)
    near = agreement.circular_triads(beats)
    assert (counted.exact, near.exact) == (True, False)
    assert 0.01 < counted.p < 0.1
    assert near.p == pytest.approx(
        counted.p, abs=0.005
    )  # three moments of ten items' distribution are matched


def test_pair_agreement_at_its_extremes():
    same = agreement.pair_agreement([order(0, 1, 2, 3)] * 5)
    assert same.coefficient == 1
    assert same.p < 1e-4
    split = agreement.pair_agreement([order(0, 1, 2, 3)] * 2 + [order(3, 2, 1, 0)] * 2)
    assert split.coefficient == pytest.approx(-1 / 3, abs=1e-12)  # -1 / (m - 1) for even m


def test_pair_agreement_keeps_its_level_when_answers_are_coin_tosses():
    rng = np.random.default_rng(2)
    rejected = 0
    for _ in range(1000):
        beats = np.triu(rng.integers(0, 2, (9, 6, 6)), 1).astype(float)
        beats += np.tril(1 - beats.transpose(0, 2, 1), -1)
        rejected += agreement.pair_agreement(beats).p < 0.05
    assert rejected / 1000 == pytest.approx(0.05, abs=4 * np.sqrt(0.05 * 0.95 / 1000))


@pytest.mark.parametrize("ties", [False, True], ids=["no ties", "ties"])
def test_concordance_is_friedmans_test(ties):
    rng = np.random.default_rng(4)
    scores = rng.normal(size=(8, 5)) + np.arange(5) * 0.5
    scores = np.round(scores) if ties else scores
    found = agreement.concordance(scores)
    statistic, p = distributions.friedmanchisquare(*scores.T)
    assert found.statistic == pytest.approx(statistic, rel=1e-12)
    assert found.p == pytest.approx(p, rel=1e-10)
    assert agreement.concordance([[1, 2, 3]] * 4).coefficient == 1


def test_intraclass_agrees_with_the_published_example():
    found = agreement.intraclass(INTRACLASS["scores"])
    for name in ("single", "average", "mean_square_items", "mean_square_error"):
        assert getattr(found, name) == pytest.approx(INTRACLASS[name], abs=0.005), name  # printed to 2 places
    assert found.single_lower == pytest.approx(INTRACLASS["single_lower"], abs=0.0005)  # printed to 3 places
    assert found.single_upper == pytest.approx(INTRACLASS["single_upper"], abs=0.0005)


def test_intraclass_of_the_simulated_ratings_agrees_with_the_reference():
    table = pd.read_csv(PUBLISHED / "rating_small.csv")
    scores = table.pivot_table(index=["system", "item"], columns="listener", values="score")
    found = agreement.intraclass(scores)
    assert found.single == pytest.approx(RATING["ICC_2_1"], abs=1e-12)
    assert found.average == pytest.approx(RATING["ICC_2_k"], abs=1e-12)
    assert found.mean_square_raters == pytest.approx(RATING["MSC"], rel=1e-12)


def test_intraclass_interval_covers():
    rng = np.random.default_rng(7)
    covered = 0
    for _ in range(1000):  # true value 1 / (1 + 0.5 + 1) = 0.4
        scores = rng.normal(size=(20, 1)) + rng.normal(0, np.sqrt(0.5), 6) + rng.normal(size=(20, 6))
        found = agreement.intraclass(scores)
        covered += found.single_lower <= 0.4 <= found.single_upper
    # approximate interval; 0.95 within four standard errors of 1000 draws, 0.028
    assert covered / 1000 == pytest.approx(0.95, abs=0.028)


def test_answers_given_twice():
    found = agreement.retest(list("aabb"), list("abbb"))
    # by hand: 3 of 4 agree, 1/2 expected by chance (2/4 * 1/4 + 2/4 * 3/4), so (3/4 - 1/2) / (1 - 1/2)
    assert (found.share_same, found.kappa) == (0.75, 0.5)
    assert agreement.retest([1, 1], [1, 1]).kappa == 1


def test_the_listener_who_hears_otherwise_stands_out():
    rng = np.random.default_rng(3)
    scores = np.arange(10.0) + rng.normal(0, 1, (12, 10))
    scores[5] = scores[5, ::-1]
    found = agreement.with_rest(scores)
    assert found.argmin() == 5
    assert found[5] < 0 < np.delete(found, 5).min()
    by_hand = np.corrcoef(scores[0], np.delete(scores, 0, axis=0).mean(axis=0))[0, 1]
    assert found[0] == pytest.approx(by_hand, abs=1e-12)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: agreement.circular_triads(np.ones((3, 3))), "decided once"),
        (lambda: agreement.circular_triads(np.ones((2, 2))), "n at least 3"),
        (lambda: agreement.triad_counts(13), "3 to 12"),
        (lambda: agreement.pair_agreement([order(0, 1, 2)] * 2), "at least 3 listeners"),
        (lambda: agreement.concordance([[1, 1], [1, 1]]), "no order"),
        (lambda: agreement.concordance([[1, 2]]), "at least 2 of each"),
        (lambda: agreement.intraclass([[1, 1], [1, 1]]), "nothing to agree on"),
        (lambda: agreement.intraclass([[1, np.nan], [1, 2]]), "finite"),
        (lambda: agreement.retest([1, 2], [1]), "one length"),
        (lambda: agreement.with_rest([[1, 1, 1], [1, 2, 3]]), "listeners 0"),
    ],
)
def test_what_has_no_agreement_is_named(call, message):
    with pytest.raises(BadData, match=message):
        call()


@pytest.mark.parametrize("n", range(3, 9))
def test_consistency_counts_from_as_many_triads_as_there_can_be(n):
    """Items in a ring, each taken over the next half of it, contradict each other as often as can be."""
    ahead = (np.arange(n)[None, :] - np.arange(n)[:, None]) % n
    beats = ((ahead > 0) & (2 * ahead < n)).astype(float)
    beats += np.triu((2 * ahead == n).astype(float))  # opposite items of an even ring: either way
    found = agreement.circular_triads(beats)
    most = len(agreement.triad_counts(n)) - 1  # counted out, item by item
    assert (found.count, found.most, found.consistency) == (most, most, 0.0)
    assert agreement.circular_triads(order(*range(n))).consistency == 1.0


def test_pair_agreement_has_the_moments_of_its_chi_square_over_all_answers():
    """Three listeners, three items: all 512 equally likely sets of answers; mean df, variance 2 df."""
    one = []
    for bits in range(8):
        beats = np.zeros((3, 3))
        for place, (a, b) in enumerate(combinations(range(3), 2)):
            beats[(a, b) if bits >> place & 1 else (b, a)] = 1
        one.append(beats)
    found = [agreement.pair_agreement([a, b, c]) for a in one for b in one for c in one]
    statistics = np.array([each.statistic for each in found])
    assert statistics.mean() == pytest.approx(found[0].df, rel=1e-12)
    assert statistics.var() == pytest.approx(2 * found[0].df, rel=1e-12)
    assert found[0].df == 3 * 3 * 2  # pairs * m (m - 1) / (m - 2)^2
    assert np.mean([each.coefficient for each in found]) == pytest.approx(0.0, abs=1e-12)


def test_the_standard_error_of_kappa_by_hand():
    """4 answers, 3 the same, margins (2, 2) and (1, 3): Fleiss, Cohen & Everitt 1969, formula 13."""
    p, rows, columns = np.array([[1, 1], [0, 2]]) / 4, np.array([0.5, 0.5]), np.array([0.25, 0.75])
    same, chance = 0.75, 0.5
    one = sum(p[i, i] * ((1 - chance) - (rows[i] + columns[i]) * (1 - same)) ** 2 for i in range(2))
    other = (
        sum(p[i, j] * (columns[i] + rows[j]) ** 2 for i in range(2) for j in range(2) if i != j)
        * (1 - same) ** 2
    )
    rest = (same * chance - 2 * chance + same) ** 2
    expected = np.sqrt((one + other - rest) / (4 * (1 - chance) ** 4))
    assert agreement.retest(list("aabb"), list("abbb")).kappa_se == pytest.approx(expected, rel=1e-12)


def test_intervals_of_one_and_of_many_raters_are_one_by_spearman_and_brown():
    """In odds: a mean over k raters has k times those of one (Spearman, Brown 1910, Br. J. Psychol. 3)."""
    found = agreement.intraclass(INTRACLASS["scores"])
    for of_one, of_all in (
        (found.single, found.average),
        (found.single_lower, found.average_lower),
        (found.single_upper, found.average_upper),
    ):
        assert of_all / (1 - of_all) == pytest.approx(found.n_raters * of_one / (1 - of_one), rel=1e-12)
