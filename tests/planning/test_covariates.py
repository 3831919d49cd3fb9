"""Preview of the covariates: what pairs differ in, and whether brightness and decay can be told apart."""

from itertools import combinations

import numpy as np
import pytest

from listening.errors import StudyError
from listening.planning import covariate_criticism
from listening.records.sounds.manifest import Stimulus

METRICS = ("laf_max_db", "sharpness_acum", "decay_s")


def _stimulus(condition: str, strike: int, values: tuple[float, float | None, float]) -> Stimulus:
    after = dict(zip(METRICS, values, strict=True))
    return Stimulus(
        stimulus=f"{condition}-{strike}",
        role="study",
        recording="r",
        condition=condition,
        strike=str(strike),
        presentation="matched",
        file="f.flac",
        digest="0",
        gain_db=0.0,
        before=after,
        after=after,
    )


def _sounds(table: dict[str, tuple[float, float | None, float]]) -> dict[str, list[Stimulus]]:
    return {name: [_stimulus(name, 1, values)] for name, values in table.items()}


def _preview(sounds: dict[str, list[Stimulus]]) -> covariate_criticism.Preview:
    pairs = list(combinations(sounds, 2))
    return covariate_criticism.preview(pairs, sounds, presentation="matched", metrics=METRICS)


CROSSED = _sounds(
    {
        "dull/short": (80.0, 1.0, 0.5),
        "dull/long": (80.0, 1.0, 1.0),
        "bright/short": (80.0, 2.0, 0.5),
        "bright/long": (80.0, 2.0, 1.0),
    }
)
TOGETHER = _sounds(
    {"a": (80.0, 1.0, 0.5), "b": (80.0, 1.5, 0.8), "c": (80.0, 2.0, 1.0), "d": (80.0, 2.4, 1.3)}
)


def test_a_full_crossing_leaves_each_covariate_wholly_to_itself() -> None:
    found = _preview(CROSSED)
    assert found.varying == ("brightness", "decay")
    # by hand: over the 6 pairs the products of the two differences cancel, +1 and -1
    np.testing.assert_allclose(found.correlation, np.eye(2), atol=1e-12)
    np.testing.assert_allclose(found.inflation, [1.0, 1.0], atol=1e-12)
    assert covariate_criticism.advice(found, CROSSED) == []


def test_inflation_of_two_covariates_is_one_over_one_minus_the_squared_correlation() -> None:
    found = _preview(TOGETHER)
    r = found.correlation[0, 1]
    np.testing.assert_allclose(found.inflation, 1 / (1 - r**2), rtol=1e-9)
    assert r > 0.97


def test_what_goes_together_is_named_with_what_would_help() -> None:
    text = "\n".join(covariate_criticism.advice(_preview(TOGETHER), TOGETHER))
    assert "brightness and decay cannot be separated" in text or "decay and brightness cannot" in text
    assert "stimuli of [isolation]" in text


def test_the_pair_that_ties_them_is_proposed_for_dropping() -> None:
    tied = CROSSED | _sounds({"far": (80.0, 12.0, 9.0)})
    pairs = [("dull/short", "dull/long"), ("dull/short", "bright/short"), ("dull/long", "bright/long")]
    pairs += [("bright/short", "bright/long"), ("dull/short", "far")]
    found = covariate_criticism.preview(pairs, tied, presentation="matched", metrics=METRICS)
    assert any("drop the pair dull/short - far" in line for line in covariate_criticism.advice(found, tied))


def test_covariates_that_are_sums_of_each_other_have_infinite_inflation() -> None:
    same = _sounds({"a": (80.0, 1.0, 0.5), "b": (80.0, 2.0, 1.0), "c": (80.0, 3.0, 1.5)})
    assert np.isinf(_preview(same).largest_inflation)


def test_one_pair_is_said_to_tell_nothing_apart_and_no_infinite_number_is_printed() -> None:
    sounds = _sounds({"a": (80.0, 1.0, 1.0), "b": (80.0, 2.0, 3.0)})
    (told,) = covariate_criticism.advice(_preview(sounds), sounds)
    assert told.startswith("matched: one pair cannot separate brightness, decay")
    assert "inf" not in told.split()


def test_which_of_a_pair_comes_first_does_not_matter() -> None:
    pairs = list(combinations(TOGETHER, 2))
    turned = [(b, a) if i % 2 else (a, b) for i, (a, b) in enumerate(pairs)]
    one = covariate_criticism.preview(pairs, TOGETHER, presentation="matched", metrics=METRICS)
    two = covariate_criticism.preview(turned, TOGETHER, presentation="matched", metrics=METRICS)
    np.testing.assert_allclose(one.inflation, two.inflation, rtol=1e-12)


def test_a_pair_tells_its_differences_and_what_dominates() -> None:
    pair = _preview(CROSSED).pairs[0]  # dull/short against dull/long
    assert (pair.first, pair.second, pair.dominant) == ("dull/short", "dull/long", "decay")
    assert pair.decay_ratio == pytest.approx(0.5)
    assert pair.brightness_ratio == pytest.approx(1.0)
    assert pair.level_db == 0.0


def test_a_missing_metric_is_named_with_the_way_out() -> None:
    with pytest.raises(StudyError, match=r"b-1: has no sharpness_acum.*calibrate"):
        _preview(_sounds({"a": (80.0, 1.0, 0.5), "b": (80.0, None, 1.0)}))
