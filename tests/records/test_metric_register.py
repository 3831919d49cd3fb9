"""One home for the metrics: what is measured, matched and printed is what the register lists."""

from dataclasses import fields

import numpy as np
import pytest

from listening.audio.sound import Sound
from listening.metrics import measures
from listening.records.kinds import metric_register
from listening.records.protocols.protocol_parts import Presentation
from listening.stimuli import match
from tests.stimuli import small_study

UNITS = {"dB": "_db", "LUFS": "_lufs", "dBTP": "_dbtp", "sone": "_sone", "phon": "_phon", "acum": "_acum",
         "Hz": "_hz", "s": "_s"}  # fmt: skip


def _sound(pascal: float | None) -> Sound:
    return Sound(small_study.ringing()[:, np.newaxis], small_study.RATE_HZ, pascal)


def test_what_is_measured_is_what_is_listed_in_its_order() -> None:
    listed = [metric.key for metric in metric_register.ALL]
    assert listed == [field.name for field in fields(measures.Measures) if field.name != "flags"]
    assert list(measures.measure(_sound(5.0)).as_dict()) == listed


@pytest.mark.parametrize("metric", metric_register.ALL, ids=lambda metric: metric.key)
def test_a_key_ends_in_the_unit(metric: metric_register.Metric) -> None:
    assert metric.key.endswith(UNITS[metric.unit])
    assert metric.plain.count("{}") == 1


def test_what_needs_a_calibration_is_missing_without_and_nothing_else_is() -> None:
    with_pressure, without = measures.measure(_sound(5.0)).as_dict(), measures.measure(_sound(None)).as_dict()
    lost = {key for key, value in without.items() if value is None and with_pressure[key] is not None}
    assert lost == {metric.key for metric in metric_register.ALL if metric.needs_calibration}


def test_what_is_of_the_file_does_not_change_with_the_calibration() -> None:
    loud, soft = measures.measure(_sound(5.0)).as_dict(), measures.measure(_sound(1.0)).as_dict()
    digital = {metric.key for metric in metric_register.ALL if metric.is_digital}
    assert {key for key in digital if loud[key] != soft[key]} == set()


def test_a_metric_can_be_matched_on_exactly_where_the_register_says_so() -> None:
    assert set(match.VALUE) == {metric.key for metric in metric_register.ALL if metric.matched_as}
    for key in match.VALUE:
        assert Presentation(name="matched", metric=key).metric == key


@pytest.mark.parametrize("metric", [m for m in metric_register.ALL if m.matched_as], ids=lambda m: m.key)
def test_what_is_matched_adds_as_decibels_do(metric: metric_register.Metric) -> None:
    # 6 dB more is 6 more of every level; of loudness close to 6 phon near 1 kHz, where phon is dB (ISO 226)
    soft, loud = _sound(1.0), _sound(1.0).amplified(6.0)
    gained = match.value(loud, metric.key) - match.value(soft, metric.key)
    assert gained == pytest.approx(6.0, abs=1.5 if metric.matched_unit == "phon" else 0.01)


def test_levels_have_no_ratio_and_what_is_no_level_has() -> None:
    # decibel and phon are logarithmic (IEC 80000-3; ISO 532-1): a ratio of them means nothing
    for metric in metric_register.ALL:
        assert metric.is_ratio != metric.is_level


def test_an_unknown_key_goes_by_itself() -> None:
    assert metric_register.named("roughness_asper").name == "roughness_asper"
    assert metric_register.in_words("by nmax_sone") == "by loudness Nmax"
