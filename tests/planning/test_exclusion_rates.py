"""Error rates of planned exclusions: what is said is what the screening does to drawn listeners."""

import numpy as np
import pandas as pd
import pytest

from listening.analysis.collect import screening
from listening.planning import criticism, exclusion_rates
from listening.planning.exclusion_rates import Rate
from listening.records.protocols.protocol import Protocol
from tests.design import conftest as design

RULES = {"controls_right_below": 0.8, "same_side_above": 0.7, "repeats_alike_below": 0.55}


def _protocol(**exclusions: float) -> Protocol:
    plain = design.protocol_of(
        3,
        listeners=2,
        repeats=6,
        controls=[{"attribute": "loudness", "gains_db": [3.0], "repeats": 8}],
        attributes=("brightness", "loudness"),
    ).model_dump()
    plain["attributes"][1]["about_level"] = True
    return Protocol.model_validate({**plain, "exclusions": exclusions})


def _rates(**exclusions: float) -> list[Rate]:
    return exclusion_rates.of_protocol(_protocol(**exclusions), design.manifest_of(3))


def test_the_rates_are_those_of_drawn_listeners_who_guess() -> None:
    """4,000 listeners at random through the screening itself; four standard errors."""
    protocol, n = _protocol(**RULES), 4000
    rng = np.random.default_rng(2)
    pairs = [
        (a, b, 0.0, name)
        for a, b in (("a", "b"), ("a", "c"), ("b", "c"))
        for name in ("brightness", "loudness")
    ]
    trials = [pair for pair in pairs for _ in range(6)] + [("a", "a", 3.0, "loudness")] * 8
    rows = pd.DataFrame(
        trials, columns=["condition_first", "condition_second", "gain_difference_db", "attribute"]
    )
    table = pd.concat([rows] * n, ignore_index=True).assign(
        listener=np.repeat([f"{i:05d}" for i in range(n)], len(trials)),
        presentation="matched",
        role=lambda t: np.where(t["gain_difference_db"] > 0, "control", "study"),
        chosen=rng.integers(2, size=n * len(trials)).astype(float),
        response_s=2.0,
        simulated=True,
    )
    left_out = pd.Series([row.excluded_because for row in screening.listeners(table, protocol)])
    for rule, why in zip(
        _rates(**RULES), ("control pairs", "one side", "repeats answered differently"), strict=True
    ):
        alone = screening.listeners(table, _protocol(**{_KEY[why]: RULES[_KEY[why]]}))
        seen = np.mean([row.excluded_because == why for row in alone])
        assert rule.at_random is not None
        assert seen == pytest.approx(rule.at_random, abs=4 * np.sqrt(0.25 / n)), why
    said = exclusion_rates.together(_rates(**RULES))
    assert (left_out != "").mean() >= max(r.at_random or 0.0 for r in _rates(**RULES)) - 4 * np.sqrt(0.25 / n)
    assert said.startswith("all rules together leave out at most")


_KEY = {
    "control pairs": "controls_right_below",
    "one side": "same_side_above",
    "repeats answered differently": "repeats_alike_below",
}


def test_a_rule_without_trials_costly_or_useless_is_objected_to() -> None:
    manifest = design.manifest_of(3)
    told = [found for _, found, _ in criticism._exclusions(_protocol(controls_right_below=0.95), manifest)]
    assert any("would leave out" in line and "honest listeners" in line for line in told)
    weak = [found for _, found, _ in criticism._exclusions(_protocol(same_side_above=0.9), manifest)]
    assert any("answers at random is left out with a chance of 0.0" in line for line in weak)
    none = design.protocol_of(3, exclusions={"controls_right_below": 0.7})
    assert any("no trial to judge by" in f for _, f, _ in criticism._exclusions(none, manifest))


def test_without_rules_nothing_is_said() -> None:
    assert exclusion_rates.lines(_rates()) == []
    assert not list(criticism._exclusions(_protocol(), design.manifest_of(3)))
