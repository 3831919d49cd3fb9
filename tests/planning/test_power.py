"""Power by simulation: against closed forms, the same numbers however it is run, and its limits."""

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from scipy import stats

from listening.errors import StudyError
from listening.planning import (
    approximate,
    discrimination_size,
    effect,
    family_alpha,
    panel_size,
    power,
    recommend,
    smallest,
)
from listening.planning.power import Wanted
from listening.records.protocols.planned_power import Assumed, PowerCell
from listening.records.protocols.protocol import Protocol
from listening.records.sounds.manifest import Manifest
from stats.errors import StatsError

Maker = Callable[..., tuple[Protocol, Manifest]]
EVEN = Assumed(spread_listeners=0.0, spread_stimuli=0.0, order=0.0, lapses=0.0)
STUDIES = 100
QUICK = {"strikes": 1, "repeats": 6}  # few trials, and none of the slow cases of a model without enough data


def _simulated(study: tuple[Protocol, Manifest], listeners: int, logit: float, **more: Any) -> power.Chance:
    protocol, manifest = study
    repeats = protocol.blocks[0].repeats
    wanted = [Wanted(listeners, repeats, effect.Effect(logit, "as tested"))]
    values = {"assumed": EVEN, "studies": STUDIES, "seed": 4, **more}
    [cell] = power.simulate(protocol, manifest, protocol.questions[0], wanted, **values)
    return power.chance(cell)


@pytest.mark.parametrize(("strikes", "share"), [(2, 0.75), (3, 0.75), (4, 0.65)])
def test_the_formula_agrees_with_simulated_studies(planned: Maker, strikes: int, share: float) -> None:
    study = planned(strikes=strikes, repeats=12)
    assumed = Assumed(spread_stimuli=0.3)
    wanted = effect.of_share(share, assumed)
    made = panel_size.trials(*study, study[0].questions[0], listeners=16)
    near = approximate.power(made, 16, wanted.logit, alpha=0.05, assumed=assumed)
    found = _simulated(study, 16, wanted.logit, assumed=assumed)
    assert found.lower - 0.04 <= near <= found.upper + 0.04  # the formula leaves skewness out


def test_the_formula_counts_hearings_of_the_planned_pair_alone(planned: Maker) -> None:
    two, six = (planned(conditions=n, repeats=6, strikes=3) for n in (2, 6))
    pairs = [
        approximate.planned_pair(panel_size.trials(*study, study[0].questions[0], listeners=8), 8, 0.0, EVEN)
        for study in (two, six)
    ]
    assert [(one.answers, one.strikes, one.listeners) for one in pairs] == [(6, (3, 3), 8)] * 2


def test_what_would_be_enough_is_proposed_each_by_itself(planned: Maker) -> None:
    study = planned(strikes=2, repeats=6)
    made = panel_size.trials(*study, study[0].questions[0], listeners=12)
    wanted = effect.of_share(0.75, Assumed())
    at = {"alpha": 0.05, "assumed": Assumed()}
    assert approximate.power(made, 12, wanted.logit, **at) < 0.8
    told = approximate.remedies(made, 12, wanted.logit, target=0.8, **at)
    [strikes] = [line for line in told if "strikes" in line]
    more = planned(strikes=int(strikes.split()[0]), repeats=6)
    made = panel_size.trials(*more, more[0].questions[0], listeners=12)
    assert approximate.power(made, 12, wanted.logit, **at) >= 0.8


def test_without_an_effect_the_claim_is_rarely_supported(planned: Maker) -> None:
    study = planned(conditions=4, repeats=3)
    found = _simulated(study, 12, 0.0, assumed=Assumed(), studies=60)
    assert found.lower <= 0.05


def test_answers_have_the_share_that_was_asked_for(planned: Maker) -> None:
    # 400 listeners of spread 0.6: the standard error of the share is below 0.011, five of them are the margin
    study = planned(repeats=4, strikes=3)
    assumed = Assumed(spread_listeners=0.6, spread_stimuli=0.0, lapses=0.0)
    made = panel_size.trials(*study, study[0].questions[0], listeners=400)
    wanted = effect.of_share(0.7, assumed)
    answers = panel_size.answers(made, 400, wanted.logit, assumed, np.random.default_rng(2))
    first_is_more = answers["condition_first"] == "d1"
    share = np.mean(np.where(first_is_more, answers["chosen"], 1 - answers["chosen"]))
    assert share == pytest.approx(0.7, abs=0.055)
    assert effect.share_of(wanted.logit, assumed) == pytest.approx(0.7, abs=1e-9)


def test_an_interrupted_table_goes_on_to_the_same_numbers(planned: Maker) -> None:
    protocol, manifest = planned(**QUICK)
    wanted = [Wanted(8, 6, effect.Effect(0.9, "as tested"))]
    seen: list[PowerCell] = []

    def simulate(studies: int, known: list[PowerCell]) -> PowerCell:
        [cell] = power.simulate(
            protocol,
            manifest,
            protocol.questions[0],
            wanted,
            assumed=Assumed(),
            studies=studies,
            seed=9,
            known=known,
            on_cell=seen.append,
        )
        return cell

    part = simulate(12, [])
    whole = simulate(20, [])
    assert simulate(20, [part]) == whole
    assert [cell.studies for cell in seen] == [12, 20, 20]


@pytest.mark.slow  # that every place gives the same bits is tested in stats/test_places.py
def test_several_processes_give_the_same_numbers(planned: Maker) -> None:
    here = _simulated(planned(**QUICK), 8, 0.9, assumed=Assumed(), studies=34)
    there = _simulated(planned(**QUICK), 8, 0.9, assumed=Assumed(), studies=34, where=2)
    assert here == there


def test_a_family_and_planned_looks_make_the_deciding_alpha_smaller(planned: Maker) -> None:
    protocol, _ = planned(family="f")
    other = protocol.questions[0].model_copy(update={"id": "r"})
    two = protocol.model_copy(update={"questions": (protocol.questions[0], other)})
    assert family_alpha.deciding_alpha(two, two.questions[0]) == pytest.approx(0.8 * 0.05 / 2)
    looks = protocol.stopping.model_copy(update={"looks": [12], "spending": "Pocock"})
    with_looks = protocol.model_copy(update={"stopping": looks})
    assert family_alpha.deciding_alpha(with_looks, protocol.questions[0]) < 0.05


def _cells(*counts: int) -> list[PowerCell]:
    return [
        PowerCell(
            listeners=24,
            repeats=1,
            effect_logit=0.2 * i,
            effect_said="",
            supported=count,
            undecided=200 - count,
        )
        for i, count in enumerate(counts)
    ]


def test_the_smallest_effect_lies_where_the_chance_crosses_the_target() -> None:
    found = smallest.effect(_cells(10, 60, 140, 180, 199))
    assert found.estimate is not None
    assert 0.4 < found.estimate < 0.6
    assert found.surely_above == pytest.approx(0.4)
    assert found.surely_below == pytest.approx(0.6)


def test_no_crossing_is_no_smallest_effect() -> None:
    assert smallest.effect(_cells(10, 20, 30)).estimate is None


def test_a_discrimination_panel_has_the_exact_binomial_power() -> None:
    # triangle, 30 % of listeners hear it: 0.3 + 0.7 / 3 right; scipy's binomial gives the same tail
    found = discrimination_size.size("triangle", share_not_guessed=0.3)
    assert found.share_correct == pytest.approx(0.3 + 0.7 / 3)
    tail = float(stats.binom.sf(found.min_correct - 1, found.n_from, found.share_correct))
    assert found.power == pytest.approx(tail, rel=1e-12)
    assert stats.binom.sf(found.min_correct - 1, found.n_from, 1 / 3) <= 0.05
    assert stats.binom.sf(found.min_correct - 2, found.n_from, 1 / 3) > 0.05
    rng = np.random.default_rng(8)
    right = rng.binomial(found.n_from, found.share_correct, 20000) >= found.min_correct
    assert np.mean(right) == pytest.approx(found.power, abs=4 * math.sqrt(found.power * 0.2 / 20000))


def test_a_discrimination_panel_needs_one_size_of_difference() -> None:
    with pytest.raises(StatsError, match="either as d' or"):
        discrimination_size.size("triangle")


@pytest.mark.parametrize("text", ["share=1.2", "much", "db=x", "share", "logit=inf"])
def test_an_effect_in_other_words_is_refused_with_those_that_are_known(text: str) -> None:
    with pytest.raises(StudyError, match=r"share=0\.75"):
        effect.of_text(text, EVEN)


def test_decibels_need_to_be_told_what_a_decibel_does() -> None:
    with pytest.raises(StudyError, match="logit-per-db"):
        effect.of_text("db=2", EVEN)
    assert effect.of_text("db=2", EVEN, logit_per_db=0.3).logit == pytest.approx(0.6)


def test_the_recommended_panel_is_one_that_was_enough(planned: Maker) -> None:
    protocol, manifest = planned(**QUICK)
    found = recommend.listeners(
        protocol,
        manifest,
        protocol.questions[0],
        effect.Effect(1.1, "as tested"),
        assumed=Assumed(),
        studies=20,
    )
    assert found.by_formula is not None
    reached = {c.listeners: power.chance(c).estimate for c in found.tried}
    assert found.listeners is None or reached[found.listeners] >= 0.8
