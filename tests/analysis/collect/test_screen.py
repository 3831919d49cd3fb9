"""Screening reports; only the protocol excludes."""

from itertools import combinations

import numpy as np
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
