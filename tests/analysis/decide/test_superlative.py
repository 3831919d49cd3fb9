"""The most of a set: named beforehand, or picked from the data."""

from itertools import combinations

import numpy as np
import pytest

from listening.analysis.collect import keyed_answers
from listening.analysis.decide import decide, superlative
from listening.records.found.findings import Against
from listening.records.protocols.protocol import Superlative


@pytest.fixture(scope="module")
def table(bells, bells_answers):
    return keyed_answers.frame(bells_answers(1), bells.key, bells.manifest)


def planned(bells, table, condition):
    asked = Superlative(id="x", attribute="brightness", presentation="matched", condition=condition)
    return superlative.planned(table, asked, bells.protocol)


def test_the_brightest_wins_every_comparison_and_the_next_does_not(bells, table):
    found = planned(bells, table, "dome_d/free")
    assert found.word == "supported"
    assert {one.word for one in found.against} == {"supported"}
    assert len(found.against) == 5
    second = planned(bells, table, "dome_c/free")
    assert second.word != "supported"
    assert [one.than for one in second.against if one.estimate < 0.5] == ["dome_d/free"]


def test_a_winner_picked_from_the_data_is_judged_by_the_largest_t(bells, table):
    found = superlative.winner(table, bells.protocol, "brightness", "matched")
    assert (found.condition, found.is_clear, found.n_pairs) == ("dome_d/free", True, 15)
    # two designs that differ in nothing: whoever is on top of ringing is not clear of the next
    assert not superlative.winner(table, bells.protocol, "ringing", "matched").is_clear


def test_two_conditions_have_no_winner(bells, table):
    assert superlative.winner(table, bells.protocol, "loudness", "matched") is None


@pytest.mark.parametrize("last_bits", [(0.0, 0.0), (1e-12, 0.0), (0.0, 1e-12)])
def test_of_conditions_that_are_even_the_first_by_name_is_on_top(last_bits):
    """Which of two equal strengths comes out larger in the last bits is the processor's choice."""
    strength = np.add([-1.0, 0.5, 0.5], [0.0, *last_bits])
    assert superlative._top(strength) == 1


def compared(*words):
    return tuple(
        Against(than=f"c{i}", than_label=f"c{i}", estimate=0.5, lower=0.4, unit="share", word=word)
        for i, word in enumerate(words)
    )


@pytest.mark.parametrize(
    ("words", "n_listeners", "word", "why"),
    [
        (("supported", "supported"), 8, "supported", "every comparison"),
        (("supported", "supported"), 7, "no verdict", "7 listeners"),
        (("supported", "contradicted", "undecided"), 8, "contradicted", "contradicted against c1"),
        (("supported", "undecided"), 8, "undecided", "left open against c1"),
        (("supported", "no verdict"), 8, "undecided", "left open against c1"),
        ((), 8, "undecided", "no other condition"),
    ],
)
def test_one_comparison_lost_loses_the_whole_and_one_open_leaves_it_open(words, n_listeners, word, why):
    found, reason = superlative._word(compared(*words), n_listeners)
    assert found == word
    assert why in reason


def test_each_of_five_comparisons_is_contradicted_at_a_fifth_of_alpha_only(bells, table, monkeypatch):
    seen = []
    monkeypatch.setattr(decide, "contradicted_in_superlative", lambda decided, n: seen.append(n) or decided)
    assert len(planned(bells, table, "dome_a/free").against) == 5
    assert seen == [5] * 5


def test_the_winner_is_judged_by_its_lead_on_each_other_condition(bells, table, monkeypatch):
    """Fifteen differences of two strengths each, those with the winner as its lead."""
    seen = []
    max_t = superlative.multiplicity.max_t

    def looked(estimates, covariance, **more):
        seen.append((estimates, covariance))
        return max_t(estimates, covariance, **more)

    monkeypatch.setattr(superlative.multiplicity, "max_t", looked)
    found = superlative.winner(table, bells.protocol, "brightness", "matched")
    estimates, covariance = seen[0]
    rows = keyed_answers.select(table, attribute="brightness", presentation="matched")
    fit = superlative.strengths.fit(rows)
    top = fit.conditions.index(found.condition)
    pairs = [*combinations(range(len(fit.conditions)), 2)]
    differences = [fit.strength[a] - fit.strength[b] for a, b in pairs]
    wanted = [abs(d) if top in pair else d for d, pair in zip(differences, pairs, strict=True)]
    assert estimates == pytest.approx(wanted)
    c = fit.covariance
    assert np.diag(covariance) == pytest.approx([c[a, a] + c[b, b] - 2 * c[a, b] for a, b in pairs])
