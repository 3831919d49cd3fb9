"""`listening fit pairs`: the contract of its JSON, against published fits, and what it refuses."""

import json
import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from listening import cli

PUBLISHED = Path(__file__).parents[1] / "published"
PAIRS = tomllib.loads((PUBLISHED / "bradley_terry.toml").read_text())
TIES = tomllib.loads((PUBLISHED / "ties.toml").read_text())
MIXED = tomllib.loads((PUBLISHED / "logistic_mixed.toml").read_text())


def long_form(name):
    """One row an answer category, columns in an odd order, from a table of counts."""
    data = pd.read_csv(PUBLISHED / f"{name}.csv")
    parts = []
    for column, answer in zip(data.columns[2:5], ("first", "tie", "second"), strict=True):
        part = data.rename(columns={data.columns[0]: "first", data.columns[1]: "second", column: "count"})
        parts.append(part.assign(answer=answer)[["count", "answer", "second", "first"]])
    return pd.concat(parts)


def two_way(name):
    data = pd.read_csv(PUBLISHED / f"{name}.csv")
    first, second, won, lost = data.columns[:4]
    parts = [
        data.rename(columns={first: "first", second: "second", column: "count"}).assign(answer=answer)
        for column, answer in ((won, "first"), (lost, "second"))
    ]
    return pd.concat(parts)[["answer", "first", "count", "second"]]


@pytest.fixture
def run(tmp_path, capsys):
    def fit(table, *words):
        path = tmp_path / "table.csv"
        if isinstance(table, pd.DataFrame):
            table.to_csv(path, index=False)
        else:
            path.write_text(table)
        code = cli.main(["fit", "pairs", str(path), *words])
        out, err = capsys.readouterr()
        return code, (json.loads(out) if "--json" in words and code == 0 else out), err

    return fit


def check(found, expected, *, atol=1e-6):
    for name, value in expected["estimate"].items():
        name = name.replace("first", "order")
        assert found["estimates"][name]["estimate"] == pytest.approx(value, abs=atol)
        assert found["estimates"][name]["se"] == pytest.approx(
            expected["se"][name.replace("order", "first")], rel=1e-4
        )
    assert found["loglik"] == pytest.approx(expected["loglik"], abs=1e-6)


def test_plain_strengths(run):
    code, found, _ = run(two_way("baseball"), "--json")
    assert code == 0
    check(found, PAIRS["baseball_plain"])
    assert set(found) >= {"model", "n", "reference", "estimates", "spread", "loglik", "warnings"}
    assert (found["reference"], found["n"], found["spread"]) == ("T1", 273, {})


def test_order_effect(run):
    check(run(two_way("baseball"), "--order", "--json")[1], PAIRS["baseball_order"])


def test_another_reference_shifts_all(run):
    found = run(two_way("citations"), "--reference", "J3", "--json")[1]
    expected = PAIRS["citations"]["estimate"]
    assert "J3" not in found["estimates"]
    assert found["estimates"]["J1"]["estimate"] == pytest.approx(-expected["J3"], abs=1e-6)


def test_ties_by_davidson(run):
    check(run(long_form("springall"), "--ties", "davidson", "--json")[1], TIES["davidson_springall"])


def test_mixed_model_with_listener_slopes(run):
    data = pd.read_csv(PUBLISHED / "panel_small.csv")
    data["answer"] = np.where(data.y == 1, "first", "second")
    names = "d_level,d_bright,d_decay"
    words = ("--covariates", names, "--slopes", names, "--order", "--json")
    found = run(data, *words, "--correlated")[1]
    expected = MIXED["panel_correlated"]
    for name, value in expected["fixed"].items():
        name = {"(Intercept)": "order"}.get(name, name)
        assert found["estimates"][name]["estimate"] == pytest.approx(value, abs=1e-5)
    sds = [found["spread"][f"listener:{name}"] for name in names.split(",")]
    np.testing.assert_allclose(np.square(sds), expected["variance"], atol=1e-5)
    assert found["loglik"] == pytest.approx(expected["loglik"], abs=1e-5)
    assert found["reference"] is None
    assert found["warnings"] == []


def test_three_way_mixed_model_has_its_names(run):
    data = pd.read_csv(PUBLISHED / "panel_small.csv")
    answer = np.where(data.y == 1, "first", "second")
    data["answer"] = np.where(np.abs(data.d_level) < 0.4, "tie", answer)
    words = ("--covariates", "d_bright", "--slopes", "d_bright", "--order", "--json")
    for ties, name in (("davidson", "log_nu"), ("rao-kupper", "eta")):
        found = run(data, *words, "--ties", ties)[1]
        assert list(found["estimates"]) == ["d_bright", "order", name]
        assert list(found["spread"]) == ["listener:d_bright"]


def test_pooled_listeners_are_warned_of_and_clustered_errors_given(run):
    data = pd.read_csv(PUBLISHED / "panel_small.csv")
    data["answer"] = np.where(data.y == 1, "first", "second")
    found = run(data, "--covariates", "d_level,d_bright,d_decay", "--order", "--json")[1]
    assert "pooled" in found["warnings"][0]
    assert "too small" in found["warnings"][0]
    bright = found["estimates"]["d_bright"]
    assert bright["se_clustered"] > 1.2 * bright["se"]


def test_covariates_of_items_are_tested_against_free_strengths_and_others_not(run):
    data = pd.read_csv(PUBLISHED / "panel_small.csv")
    data["answer"] = np.where(data.y == 1, "first", "second")
    data["loudness_of_day"] = np.sin(np.arange(len(data)))
    found = run(data, "--covariates", "d_level,d_bright,d_decay", "--json")[1]
    assert found["tests"]["covariates explain the items"]["df"] == 4
    found = run(data, "--covariates", "d_level,loudness_of_day", "--json")[1]
    assert "covariates explain the items" not in found["tests"]


def test_text_names_the_reference(run):
    code, out, _ = run(two_way("baseball"))
    assert code == 0
    assert "T1 is set to zero" in out


HEAD = "first,second,answer\n"


@pytest.mark.parametrize(
    ("table", "words", "message"),
    [
        (HEAD + "a,b,first\nb,a,maybe\n", (), "line 3, column answer: found 'maybe'"),
        (HEAD + "a,b,first\nb,b,second\n", (), "line 3: 'b' is compared with itself"),
        (HEAD + "a,b,first\nb,a\n", (), "line 3: found 2 cells, wanted 3"),
        (HEAD + "a,b,first\nb,a,tie\n", (), "--ties davidson"),
        ("first,second\na,b\n", (), "no column answer"),
        ("first,second,answer,count\na,b,first,-2\n", (), "line 2, column count: found -2"),
        ("first,second,answer,x\na,b,first,1\nb,a,first,much\n", ("--covariates", "x"), "line 3, column x"),
        (HEAD + "a,b,first\nb,a,first\nc,a,second\n", ("--reference", "z"), "no such item; found a, b, c"),
        (HEAD + "a,b,first\n", (), "a never lost"),
        (HEAD + "a,b,first\nb,a,first\nc,d,first\nd,c,first\n", (), "a, b; c, d"),
        (HEAD + "a,b,first\nb,a,first\n", ("--correlated",), "name them with --slopes"),
        (HEAD, (), "no rows"),
        ("", (), "the file is empty"),
    ],
    ids=range(13),
)
def test_bad_tables_are_refused_plainly(run, table, words, message):
    code, out, err = run(table, *words)
    assert (code, out) == (2, "")
    assert message in err
    assert "Traceback" not in err


def test_a_missing_file_is_refused_plainly(capsys):
    assert cli.main(["fit", "pairs", "no_such_table.csv"]) == 2
    assert "no_such_table.csv" in capsys.readouterr().err
