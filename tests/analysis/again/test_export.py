"""Exported tables: another statistician gets the same numbers without our programs."""

import re
import sys

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from listening.analysis.again import exported_tables, reanalysis
from listening.analysis.collect import keyed_answers
from listening.commands import export as export_command
from listening.errors import ListeningError
from listening.records.found.findings_study import Looks


@pytest.fixture(scope="module")
def tables(bells, bells_answers, bells_findings):
    return exported_tables.tables(
        keyed_answers.frame(bells_answers(1), bells.key, bells.manifest), bells_findings
    ).tables


def other(findings, question, name):
    return next(s for s in findings.question(question).sensitivity if s.name == name)


QUESTIONS = ["d-brighter-than-c", "f-longer-than-e", "b-as-loud-as-a-matched"]


@pytest.mark.parametrize("question", QUESTIONS)
def test_the_recipe_for_pooled_answers_gives_the_printed_numbers_with_scipy(tables, bells_findings, question):
    own = tables["own_shares"]
    own = own[own["question"] == question]
    ours = other(bells_findings, question, "answers pooled over listeners")
    alpha = bells_findings.question(question).alpha_corrected
    tested = stats.binomtest(int(own["n_more"].sum()), int(own["n"].sum()), 0.5)
    limits = tested.proportion_ci(1 - 2 * alpha, method="exact")
    assert ours.unit == "share"
    assert (tested.statistic, *limits) == pytest.approx((ours.estimate, ours.lower, ours.upper), abs=1e-9)


@pytest.mark.parametrize("question", QUESTIONS)
def test_the_share_that_decides_is_the_mean_of_the_listeners_own_as_counted(tables, bells_findings, question):
    """Each pair was heard in both orders equally often, so that no order is to be taken off."""
    own = tables["own_shares"]
    mean = own[own["question"] == question]["share"].mean()
    assert mean == pytest.approx(bells_findings.question(question).share.value, abs=1e-12)


def test_the_recipe_for_the_sign_test_gives_the_printed_p_with_scipy(tables, bells_findings):
    q = bells_findings.question("d-brighter-than-c")
    rows = tables["answers"]
    rows = rows[(rows["attribute"] == q.attribute) & (rows["presentation"] == q.presentation)]
    forward = (rows["condition_first"] == q.more) & (rows["condition_second"] == q.than)
    backward = (rows["condition_first"] == q.than) & (rows["condition_second"] == q.more)
    chosen = np.where(forward, rows["chosen"], 1 - rows["chosen"])[forward | backward]
    assert len(chosen) == q.n_direct
    assert chosen.sum() == q.n_direct_more
    net = (2 * chosen - 1).tolist()
    by_listener: dict[str, float] = {}
    for name, value in zip(rows["listener"][forward | backward], net, strict=True):
        by_listener[name] = by_listener.get(name, 0) + value
    above, below = (sum(s * v > 0 for v in by_listener.values()) for s in (1, -1))
    p = stats.binomtest(above, above + below, 0.5, alternative="greater").pvalue
    assert p == pytest.approx(other(bells_findings, q.id, "sign test over listeners").p)


@pytest.mark.parametrize("kind", ["csv", "json", "parquet"])
def test_every_table_comes_back_from_its_file_as_it_was(tables, tmp_path, kind):
    if kind == "parquet":
        pytest.importorskip("pyarrow", reason="the extra for Parquet is not installed")
    read = {"csv": pd.read_csv, "json": pd.read_json, "parquet": pd.read_parquet}[kind]
    for name, table in tables.items():
        export_command._write(tmp_path / name, table, kind)
        back = read(tmp_path / name)
        assert list(back.columns) == list(table.columns) or (kind == "json" and table.empty)
        for column in back.columns.intersection(table.select_dtypes(["number", "bool"]).columns):
            np.testing.assert_allclose(back[column].astype(float), table[column].astype(float), rtol=1e-9)


def test_parquet_without_its_package_names_the_extra(tables, tmp_path, monkeypatch):
    for name in ("pyarrow", "fastparquet"):
        monkeypatch.setitem(sys.modules, name, None)
    with pytest.raises(ListeningError, match=r"pip install 'listening\[parquet\]'"):
        export_command._write(tmp_path / "answers.parquet", tables["answers"], "parquet")
    assert list(tmp_path.iterdir()) == []


def only_its_name(column: str, meaning: str) -> bool:
    """Whether a line of the dictionary says no more than the column's name."""
    return not set(re.findall(r"[a-z]+", meaning.lower())) - set(re.findall(r"[a-z]+", column.lower()))


def test_the_dictionary_says_more_of_a_column_than_its_name(tables):
    lines = tables["dictionary"]
    assert [c for c, m in zip(lines["column"], lines["meaning"], strict=True) if only_its_name(c, m)] == []
    assert only_its_name("n_chosen", "n chosen")  # what the check is for


def test_every_column_of_every_table_is_in_the_dictionary(tables):
    listed = set(zip(tables["dictionary"]["table"], tables["dictionary"]["column"], strict=True))
    for name, table in tables.items():
        if name != "dictionary":
            assert {(name, column) for column in table.columns} <= listed
    meaning = tables["dictionary"].set_index(["table", "column"])["meaning"]
    assert (meaning.str.len() > 0).all()
    assert meaning["questions", "estimate_lower"].endswith(
        "by the mixed model over all conditions: lower limit"
    )
    assert "drawn" not in meaning["listeners", "first_share"]
    assert meaning["listeners", "first_share"].startswith("Share of trials in which the first")


def test_the_same_findings_show_no_difference_and_a_changed_number_does(bells_findings):
    assert reanalysis.differences(bells_findings, bells_findings) == []
    q = bells_findings.questions[0]
    changed = q.model_copy(update={"word": "contradicted", "se": q.se * (1 + 1e-4)})
    other_findings = bells_findings.model_copy(update={"questions": (changed, *bells_findings.questions[1:])})
    places = [d.place for d in reanalysis.differences(bells_findings, other_findings)]
    assert sorted(places) == ["findings.questions[0].se", "findings.questions[0].word"]


@pytest.mark.parametrize(("factor", "is_tiny"), [(1 + 9e-7, True), (1 + 2e-6, False)])
def test_a_difference_of_another_processor_is_seen_and_called_tiny(bells_findings, factor, is_tiny):
    q = bells_findings.questions[0].model_copy(update={"df": 20.0})
    here = bells_findings.model_copy(update={"questions": (q,)})
    there = bells_findings.model_copy(update={"questions": (q.model_copy(update={"df": 20.0 * factor}),)})
    (found,) = reanalysis.differences(here, there)
    assert (found.place, found.is_tiny) == ("findings.questions[0].df", is_tiny)
    assert found.apart == pytest.approx(factor - 1, rel=1e-3)


def test_a_number_that_is_missing_is_no_tiny_difference(bells_findings):
    q = bells_findings.questions[0].model_copy(update={"df": None})
    there = bells_findings.model_copy(update={"questions": (q, *bells_findings.questions[1:])})
    assert [d.is_tiny for d in reanalysis.differences(bells_findings, there)] == [False]


def test_the_analysis_made_again_asks_for_the_same_look(monkeypatch, bells_findings):
    """Everything that `run` would hand on is handed on: the replay goes through the same door."""
    seen = {}
    monkeypatch.setattr(reanalysis.full_analysis, "from_study", lambda study, **options: seen.update(options))
    looks = Looks(finished=20, planned=24, at_end=True, closed="no more came")
    reanalysis.findings(None, bells_findings.model_copy(update={"looks": looks}), now=lambda: "")
    assert (seen["interim"], seen["closed"]) == (False, "no more came")
    early = looks.model_copy(update={"at_end": False, "closed": ""})
    reanalysis.findings(None, bells_findings.model_copy(update={"looks": early}), now=lambda: "")
    assert seen["interim"]
