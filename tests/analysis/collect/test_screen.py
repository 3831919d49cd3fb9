"""Screening reports; only the protocol excludes."""

from itertools import combinations

import numpy as np
import pandas as pd
import pytest

from listening.analysis.collect import keyed_answers, screening
from listening.records.protocols.protocol_parts import Exclusions


@pytest.fixture
def table(bells, bells_answers):
    return keyed_answers.frame(bells_answers(3), bells.key, bells.manifest)


def with_rule(bells, **rule):
    return bells.protocol.model_copy(update={"exclusions": Exclusions(**rule)})


def test_one_side_all_the_time_gets_a_remark_and_stays_in(bells, table):
    stuck = table.assign(chosen=np.where(table["listener"] == "S003", 1.0, table["chosen"]))
    rows = {row.listener: row for row in screening.listeners(stuck, bells.protocol)}
    assert "mostly one side" in rows["S003"].flags
    assert rows["S003"].first_share == 1.0
    assert not any(row.excluded for row in rows.values())


def test_the_protocol_excludes_by_its_rule_alone(bells, table):
    stuck = table.assign(chosen=np.where(table["listener"] == "S003", 1.0, table["chosen"]))
    rows = screening.listeners(stuck, with_rule(bells, same_side_above=0.95))
    assert [row.listener for row in rows if row.excluded] == ["S003"]
    assert "S003" not in set(screening.kept(stuck, rows)["listener"])


def test_control_pairs_of_loudness_have_a_right_answer(bells, table):
    backwards = table.assign(
        chosen=np.where(
            (table["listener"] == "S002") & (table["role"] == "control"),
            table["gain_difference_db"] < 0,
            table["chosen"],
        )
    )
    rows = {row.listener: row for row in screening.listeners(backwards, bells.protocol)}
    assert rows["S002"].controls_right == 0
    assert rows["S002"].controls_asked == 4  # the clear ones of loudness, 3 dB, four times
    assert "missed control pairs" in rows["S002"].flags


def test_repeats_agreed_by_hand(bells, table):
    """Of every two hearings of a pair: agreed where both chose the same condition, whichever came first."""
    one = table[
        (table["listener"] == "S001") & (table["role"] == "study") & (table["attribute"] == "brightness")
    ]
    kept = table[table["listener"] == "S001"].loc[one.index]
    agreed, pairs = 0, 0
    by_pair: dict[tuple[str, str], list[bool]] = {}
    for _, row in one.iterrows():
        pair = tuple(sorted((row["condition_first"], row["condition_second"])))
        by_pair.setdefault(pair, []).append((row["condition_first"] == pair[0]) == (row["chosen"] == 1))
    for chosen in by_pair.values():
        both = [*combinations(chosen, 2)]
        pairs += len(both)
        agreed += sum(one == other for one, other in both)
    assert screening.listeners(kept, bells.protocol)[0].repeats_agreed == pytest.approx(agreed / pairs)


def some(listener, *, first=50, response_s=1.0):
    """100 answers of one listener, so many of them for the first sound; no pair comes twice."""
    return pd.DataFrame(
        {
            "listener": listener,
            "response_s": response_s,
            "simulated": False,
            "chosen": np.repeat([1.0, 0.0], [first, 100 - first]),
            "gain_difference_db": 0.0,
            "attribute": "brightness",
            "presentation": "matched",
            "role": "study",
            "condition_first": [f"a{n}" for n in range(100)],
            "condition_second": [f"b{n}" for n in range(100)],
        }
    )


@pytest.mark.parametrize(("first", "told"), [(81, True), (80, False), (20, False), (19, True)])
def test_more_than_eight_answers_of_ten_for_one_side_get_a_remark(bells, first, told):
    row = screening.listeners(some("L1", first=first), bells.protocol)[0]
    assert ("mostly one side" in row.flags) is told


@pytest.mark.parametrize(("response_s", "told"), [(0.396, True), (0.404, False)])
def test_whoever_answers_in_less_than_four_tenths_of_the_panels_time_gets_a_remark(bells, response_s, told):
    table = pd.concat([some("L1", response_s=response_s), some("L2"), some("L3")])
    rows = screening.listeners(table, bells.protocol)
    assert ["much faster than the panel" in row.flags for row in rows] == [told, False, False]


def test_unsuspected_is_who_has_no_remark_and_is_not_excluded(bells):
    table = pd.concat([some("L1", first=90), some("L2", first=70), some("L3")])
    rows = screening.listeners(table, with_rule(bells, same_side_above=0.6))
    assert [(bool(row.flags), row.excluded) for row in rows] == [(True, True), (False, True), (False, False)]
    assert set(screening.unsuspected(table, rows)["listener"]) == {"L3"}
    rows = screening.listeners(table, bells.protocol)
    assert set(screening.unsuspected(table, rows)["listener"]) == {"L2", "L3"}
