"""A new recording predicted: by hand, refused where nothing is known, covered as often as stated."""

from pathlib import Path

import numpy as np
import pytest

from listening.analysis.collect.played import Played
from listening.analysis.explain import heard_lines, prediction, strengths
from listening.errors import StudyError
from listening.records.found.findings import Findings, Strength, StrengthSet
from listening.records.found.findings_explained import PlayedMeasure
from listening.records.found.interval import Interval
from stats import t_interval

KEY = ("ringing", "as recorded")
METRIC = "lae_db"  # counted in decibels, so that values are their own steps


@pytest.fixture(scope="module")
def demo() -> Findings:
    """Findings of a simulated panel on the demo's bells, as `listening analyse` wrote them."""
    return Findings.load(Path(__file__).parents[2] / "report" / "findings.json")


def exact(value: float, reach: float = 0.0) -> Interval:
    return Interval(value=value, lower=value - reach, upper=value + reach, coverage=0.95)


def study(demo: Findings, x: np.ndarray, y: np.ndarray, **spreads: float) -> Findings:
    """Findings in which conditions of the given values are heard as the given strengths."""
    k = x.size
    names = [f"c{i}" for i in range(k)]
    found = strengths.Strengths(
        tuple(names),
        y - y.mean(),
        np.zeros((k, k)),
        y,
        y,
        (1,) * k,
        (0.0,) * k,
        0.0,
        0.0,
        0.0,
        False,
        9.0,
        1,
        9,
    )
    table = {(KEY[1], n, METRIC): Played(float(v), 0.0, 3, 0.0) for n, v in zip(names, x, strict=True)}
    lines = heard_lines.over_metrics(KEY, found, heard_lines.axes(KEY[1], found, table))
    row = demo.matching.stimuli[0]
    return demo.model_copy(
        update={
            "strengths": (
                StrengthSet(
                    attribute=KEY[0],
                    presentation=KEY[1],
                    n_answers=1,
                    n_listeners=9,
                    order=0.0,
                    interval_by="",
                    df=9.0,
                    spread_listeners=spreads.get("listeners", 0.0),
                    spread_stimuli=spreads.get("stimuli", 0.0),
                    strengths=tuple(
                        Strength(condition=n, label=n, strength=exact(v), n=1, n_chosen=0)
                        for n, v in zip(names, found.strength.tolist(), strict=True)
                    ),
                ),
            ),
            "heard_measured": lines,
            "decompositions": (),
            "played": tuple(
                PlayedMeasure(presentation=KEY[1], condition=n, label=n, metric=METRIC, n=3, mean=exact(v))
                for n, v in zip(names, x.tolist(), strict=True)
            ),
            "matching": demo.matching.model_copy(
                update={
                    "stimuli": tuple(
                        row.model_copy(update={"presentation": KEY[1], "condition": n, "after": {METRIC: v}})
                        for n, v in zip(names, x.tolist(), strict=True)
                    )
                }
            ),
        }
    )


def told(found: Findings, value: float, **options: str) -> prediction.Prediction:
    return prediction.predict(found, {METRIC: value}, attribute=KEY[0], presentation=KEY[1], **options)


X = np.array([70.0, 72, 74, 76, 78])
Y = np.array([-2.0, -1.1, 0.2, 0.9, 2.0])


def test_a_prediction_by_hand(demo):
    """Slope 10/20 = 0.5; squares left 0.06, over 3: 0.02; at 75: 0.5, variance 0.02 (1 + 1/5 + 1/40)."""
    made = told(study(demo, X, Y), 75.0)
    reach = 3.182446305284263 * np.sqrt(0.02 * (1 + 1 / 5 + 1 / 40))  # t quantile at 3 degrees of freedom
    assert made.strength.value == pytest.approx(0.5, abs=1e-12)
    assert (made.strength.lower, made.strength.upper) == pytest.approx((0.5 - reach, 0.5 + reach), abs=1e-9)
    assert (made.lowest, made.highest, made.metric) == (70.0, 78.0, METRIC)
    assert made.one_listener == made.strength  # nobody differs here


def test_listeners_and_single_strikes_widen_it(demo):
    plain = told(study(demo, X, Y), 75.0)
    wide = told(study(demo, X, Y, listeners=0.6, stimuli=0.3), 75.0)
    df = 3
    quantile = t_interval.quantile(0.975, df)
    variance = ((plain.strength.upper - plain.strength.value) / quantile) ** 2
    of_strike = 0.3**2 * (1 - 1 / 3)
    assert wide.strength.upper - wide.strength.value == pytest.approx(
        quantile * np.sqrt(variance + of_strike)
    )
    assert wide.one_listener.upper - wide.one_listener.value == pytest.approx(
        quantile * np.sqrt(variance + of_strike + 0.6**2)
    )


def test_against_a_condition_it_is_the_difference_and_a_share_over_listeners(demo):
    made = told(study(demo, X, Y), 75.0)
    last = made.against[-1]
    assert last.difference.value == pytest.approx(0.5 - 2.0, abs=1e-12)
    assert last.share.value == pytest.approx(1 / (1 + np.exp(1.5)), abs=1e-9)
    assert last.share.lower < last.share.value < last.share.upper
    spread = told(study(demo, X, Y, listeners=1.0), 75.0).against[-1]
    assert abs(spread.share.value - 0.5) < abs(last.share.value - 0.5)


@pytest.mark.parametrize("value", [69.9, 78.1], ids=["below", "above"])
def test_outside_the_range_of_the_data_it_is_refused_with_numbers(demo, value):
    with pytest.raises(StudyError, match=f"is {value}; the strikes heard lie between 70 and 78"):
        told(study(demo, X, Y), value)


def test_a_metric_that_predicts_nothing_is_refused(demo):
    useless = study(demo, X, np.array([1.0, -1, 0.2, -1, 1]))
    with pytest.raises(StudyError, match="it predicts nothing here"):
        told(useless, 75.0)


def test_what_was_not_tried_measured_or_kept_is_named(demo):
    found = study(demo, X, Y)
    with pytest.raises(
        StudyError, match=r"`t60_s` was not held against strengths; wanted one of \['lae_db'\]"
    ):
        told(found, 75.0, metric="t60_s")
    with pytest.raises(StudyError, match="has no lae_db"):
        prediction.predict(found, {}, attribute=KEY[0], presentation=KEY[1])
    with pytest.raises(StudyError, match="loudness, matched: no metric was held against strengths"):
        prediction.predict(found, {}, attribute="loudness", presentation="matched")
    with pytest.raises(StudyError, match="run `listening analyse` again"):
        told(found.model_copy(update={"played": ()}), 75.0)


def test_a_strike_of_the_study_is_predicted_near_what_was_heard_of_its_condition(demo):
    row = next(
        s for s in demo.matching.stimuli if (s.condition, s.presentation) == ("dome_e/free", "matched")
    )
    made = prediction.predict(demo, row.after, attribute="ringing", presentation="matched")
    (itself,) = (a for a in made.against if a.condition == "dome_e/free")
    assert itself.difference.lower < 0 < itself.difference.upper
    assert made.simulated


@pytest.mark.slow
def test_new_recordings_fall_inside_as_often_as_stated(demo, capsys):
    """Six conditions and a new one about one line, heard with noise, measured over strikes."""
    rng = np.random.default_rng(6)
    runs, k, n = 2000, 6, 3
    scatter, noise, strike, measured = 0.3, 0.2, 0.15, 0.2
    inside = tried = 0
    for _ in range(runs):
        true_x = rng.uniform(70, 80, k + 1)
        truth = 0.4 * (true_x - 75) + rng.normal(0, scatter, k + 1)
        x = true_x[:k] + rng.normal(0, measured / np.sqrt(n), k)
        y = truth[:k] + rng.normal(0, strike / np.sqrt(n), k) + rng.normal(0, noise, k)
        new_x = true_x[k] + rng.normal(0, measured)
        if not x.min() <= new_x <= x.max():
            continue
        found = study(demo, x, y, stimuli=strike)
        try:
            made = told(found, float(new_x))
        except StudyError:
            continue
        tried += 1
        heard_new = truth[k] + rng.normal(0, strike) - y.mean()  # one strike of it, on the study's scale
        inside += made.strength.lower <= heard_new <= made.strength.upper
    with capsys.disabled():
        print(f"\n{tried} new recordings, inside {inside / tried:.3f}")
    margin = 3 * np.sqrt(0.95 * 0.05 / tried)
    assert inside / tried >= 0.95 - margin
