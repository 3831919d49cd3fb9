"""Planned power with level bounded as the analysis does: by control gains, as measured and as heard.

Expected powers are those of whole studies simulated through the deciding analysis.
"""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from scipy import stats

from listening.planning import approximate, effect, level_plan, panel_size, power
from listening.planning.power import Wanted
from listening.records.protocols.planned_power import Assumed
from listening.records.protocols.protocol import Protocol
from listening.records.sounds.manifest import Manifest
from stats.deciding import share_power
from stats.deciding.share_power import LevelTaken, PlannedPair

Maker = Callable[..., tuple[Protocol, Manifest]]
LISTENERS = 24
STUDIES = 60
NEAR = 0.15  # three standard errors of a share of 0.8; the formula leaves skewness out


def _with_level(
    study: tuple[Protocol, Manifest],
    *,
    gains_db: tuple[float, ...] = (2.0, 4.0),
    loudness_gains_db: tuple[float, ...] = (),
    apart_db: float = 0.0,
) -> tuple[Protocol, Manifest]:
    """The study with control pairs, the question which is louder, and d1 stronger than d0 by so much."""
    protocol, manifest = study
    raw = protocol.model_dump(mode="json", exclude_none=True)
    raw["controls"] = [{"attribute": "brightness", "gains_db": gains_db, "repeats": 6}] if gains_db else []
    if loudness_gains_db:
        louder = {"name": "loudness", "wording": "Louder?", "comparative": "louder", "about_level": True}
        raw["attributes"].append(louder)
        raw["blocks"].append({"attribute": "loudness", "presentation": "matched", "repeats": 6})
        raw["controls"].append({"attribute": "loudness", "gains_db": loudness_gains_db, "repeats": 6})
    stimuli = tuple(
        s.model_copy(update={"after": {"laf_max_db": apart_db * (s.condition == "d1"), "lae_db": 0.0}})
        for s in manifest.stimuli
    )
    return Protocol.model_validate(raw), manifest.model_copy(update={"stimuli": stimuli})


def _by_formula(study: tuple[Protocol, Manifest], share: float) -> float:
    protocol, manifest = study
    question, assumed = protocol.questions[0], Assumed()
    made = panel_size.trials(protocol, manifest, question, listeners=LISTENERS)
    level = level_plan.of_question(protocol, manifest, question)
    logit = effect.of_share(share, assumed).logit
    return approximate.power(made, LISTENERS, logit, alpha=0.05, assumed=assumed, level=level)


def _simulated(study: tuple[Protocol, Manifest], share: float, studies: int) -> float:
    protocol, manifest = study
    true = effect.of_share(share, Assumed())
    wanted = [Wanted(LISTENERS, protocol.blocks[0].repeats, true)]
    asked = protocol.questions[0]
    [cell] = power.simulate(protocol, manifest, asked, wanted, assumed=Assumed(), studies=studies, seed=6)
    return power.chance(cell).estimate


@pytest.mark.parametrize(
    "level",
    [
        {"apart_db": 1.5},
        {"gains_db": (4.0,), "loudness_gains_db": (4.0,)},
        pytest.param({"gains_db": (4.0,), "apart_db": 3.0}, marks=pytest.mark.slow),
        pytest.param({"loudness_gains_db": (2.0, 4.0)}, marks=pytest.mark.slow),
        pytest.param(
            {"gains_db": (1.5, 3.0), "loudness_gains_db": (1.0, 4.0), "apart_db": 1.2},
            marks=pytest.mark.slow,
        ),
    ],
    ids=["left over", "heard, one gain", "much left over", "heard", "heard beyond a gain"],
)
def test_the_formula_agrees_with_studies_in_which_level_is_bounded(
    planned: Maker, level: dict[str, Any]
) -> None:
    study = _with_level(planned(strikes=3, repeats=8, smallest_effect=0.6), **level)
    assert _by_formula(study, 0.75) == pytest.approx(_simulated(study, 0.75, STUDIES), abs=NEAR)


@pytest.mark.parametrize("gains_db", [(), (1.0, 2.0)])
def test_level_that_no_control_gain_reaches_leaves_no_power(
    planned: Maker, gains_db: tuple[float, ...]
) -> None:
    study = _with_level(planned(repeats=12), gains_db=gains_db, apart_db=2.5)
    assert _by_formula(study, 0.9) == _simulated(study, 0.9, 5) == 0.0


def test_a_gain_near_the_residual_costs_less_than_one_far_above(planned: Maker) -> None:
    study = planned(strikes=3, repeats=8, smallest_effect=0.6)
    near = _by_formula(_with_level(study, gains_db=(2.0,), apart_db=1.5), 0.75)
    far = _by_formula(_with_level(study, gains_db=(12.0,), apart_db=1.5), 0.75)
    aside = _by_formula(_with_level(study), 0.75)
    assert far < near - 0.1 < near < aside


def test_what_a_far_control_gain_costs_is_mended_by_a_nearer_one(planned: Maker) -> None:
    protocol, manifest = _with_level(planned(strikes=4, repeats=12), gains_db=(12.0,), apart_db=1.5)
    question, assumed = protocol.questions[0], Assumed()
    made = panel_size.trials(protocol, manifest, question, listeners=LISTENERS)
    level = level_plan.of_question(protocol, manifest, question)
    logit = effect.of_share(0.7, assumed).logit
    at = {"alpha": 0.05, "assumed": assumed, "target": 0.8}
    assert approximate.NEARER_CONTROLS in approximate.remedies(made, LISTENERS, logit, level=level, **at)
    assert approximate.NEARER_CONTROLS not in approximate.remedies(made, 8, 0.1, level=level, **at)


def test_no_level_is_taken_off_what_is_about_level_or_as_recorded(planned: Maker) -> None:
    protocol, manifest = _with_level(planned(), loudness_gains_db=(2.0,))
    asked = protocol.questions[0]
    of_loudness = asked.model_copy(update={"attribute": "loudness"})
    assert level_plan.of_question(protocol, manifest, asked) is not None
    assert level_plan.of_question(protocol, manifest, of_loudness) is None


def test_the_chance_of_all_verdicts_lies_between_independent_and_together() -> None:
    """Independent: the product; wholly together: the smallest. With half shared, by 400,000 drawn triples."""
    chances = [0.8, 0.7, 0.9]
    assert share_power.all_of(chances, 0.0) == pytest.approx(np.prod(chances), abs=1e-9)
    assert share_power.all_of(chances, 0.98) == pytest.approx(0.7, abs=0.02)
    rng = np.random.default_rng(1)
    z = np.sqrt(0.5) * (rng.standard_normal((400_000, 1)) + rng.standard_normal((400_000, 3)))
    drawn = float((z < stats.norm.ppf(chances)).all(axis=1).mean())
    assert share_power.all_of(chances, 0.5) == pytest.approx(drawn, abs=0.003)  # four standard errors


def test_the_chance_of_two_verdicts_is_that_of_the_bivariate_normal_law() -> None:
    for one, other, correlation in ((0.6, 0.7, -0.4), (0.9, 0.3, 0.5), (0.5, 0.5, -0.9)):
        law = stats.multivariate_normal([0, 0], [[1, correlation], [correlation, 1]])
        expected = law.cdf(stats.norm.ppf([one, other]))
        assert share_power.both(one, other, correlation) == pytest.approx(expected, abs=1e-3)
    assert share_power.both(0.0, 0.9, 0.1) == 0.0


def test_the_mean_of_several_pairs_varies_less_than_one_of_them() -> None:
    one = PlannedPair(24, 8, (3, 3), 0.9, 0.6, 0.3)
    three = PlannedPair(24, 8, (3, 3), 0.9, 0.6, 0.3, pairs=3, mean_part=1 / 3)
    single, mean = share_power.expected(one), share_power.expected(three)
    assert mean.from_listeners == pytest.approx(single.from_listeners / 3)
    assert sum(mean.from_strikes) == pytest.approx(sum(single.from_strikes) / 3)
    assert share_power.more(three, smallest=0.6, alpha=0.05) > share_power.more(one, smallest=0.6, alpha=0.05)


def test_what_all_cases_lack_of_one_is_no_chance_at_all() -> None:
    pair = PlannedPair(40, 40, (6, 6), 2.0, 0.2, 0.1)
    assert share_power.more(pair, smallest=0.6, alpha=0.05, level=[LevelTaken(0.4, 0.0, 0.0)]) == (
        pytest.approx(0.4, abs=1e-6)
    )
