"""`listening fit ratings` and `fit counts`: the names and numbers of the contract, slips named by line."""

import json
import math
import tomllib
from pathlib import Path

import pytest

from listening.cli import main

PUBLISHED = Path(__file__).parents[1] / "published"
LINEAR = tomllib.loads((PUBLISHED / "linear_mixed.toml").read_text())
ORDINAL = tomllib.loads((PUBLISHED / "ordinal.toml").read_text())
LOGISTIC = tomllib.loads((PUBLISHED / "logistic_mixed.toml").read_text())
WINE = ["ratings", str(PUBLISHED / "wine.csv"), "--answer", "rating", "--fixed", "temp,contact"]
SLEEP = ["ratings", str(PUBLISHED / "sleepstudy.csv"), "--answer", "Reaction", "--random", "Subject"]


def fitted(capsys, *words):
    assert main(["fit", *words, "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def refused(capsys, *words):
    assert main(["fit", *words]) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert "Traceback" not in captured.err
    return captured.err


def expand_cbpp(path):
    """The herds' counts as one yes or no a row, in the order of the file."""
    rows = [line.split(",") for line in (PUBLISHED / "cbpp.csv").read_text().split()[1:]]
    lines = ["ill,herd,period"]
    for herd, ill, size, period in rows:
        lines += [f"{'yes' if j < int(ill) else 'no'},{herd},{period}" for j in range(int(size))]
    path.write_text("\n".join(lines) + "\n")
    return str(path)


def test_interval_scale_gives_the_contract_and_the_reference_numbers(capsys):
    found = fitted(capsys, *SLEEP, "--fixed", "Days")
    expected = LINEAR["sleepstudy_int_REML"]
    assert set(found) >= {"model", "n", "reference", "estimates", "spread", "loglik", "warnings"}
    assert list(found["estimates"]) == ["intercept", "Days"]
    assert list(found["spread"]) == ["Subject", "residual"]
    assert (found["n"], found["reference"], found["warnings"]) == (180, None, [])
    assert found["estimates"]["Days"]["estimate"] == pytest.approx(expected["fixed"]["Days"], abs=1e-6)
    assert found["estimates"]["Days"]["se"] == pytest.approx(expected["se"]["Days"], rel=1e-6)
    assert found["loglik"] == pytest.approx(expected["loglik"], abs=1e-6)
    assert list(found["spread"].values()) == pytest.approx(expected["spread"], abs=1e-5)


def test_a_trailing_colon_makes_numbers_a_factor(capsys):
    found = fitted(capsys, *SLEEP, "--fixed", "Days:")
    assert list(found["estimates"]) == ["intercept", *(f"Days={day}" for day in range(1, 10))]


def test_one_is_the_intercept_alone(capsys):
    assert list(fitted(capsys, *SLEEP, "--fixed", "1")["estimates"]) == ["intercept"]


def test_plain_likelihood_is_lower_in_spread_and_has_its_own_loglik(capsys):
    restricted, plain = (
        fitted(capsys, *SLEEP, "--fixed", "Days"),
        fitted(capsys, *SLEEP, "--fixed", "Days", "--ml"),
    )
    assert plain["spread"]["Subject"] < restricted["spread"]["Subject"]
    assert plain["loglik"] != pytest.approx(restricted["loglik"], abs=1)


def test_crossed_random_columns(capsys):
    words = ["ratings", str(PUBLISHED / "rating_small.csv"), "--answer", "score", "--fixed", "system"]
    found = fitted(capsys, *words, "--random", "listener,item")
    assert list(found["spread"]) == ["listener", "item", "residual"]
    assert list(found["estimates"])[:2] == ["intercept", "system=ref"]  # anchor comes first in sorted order


@pytest.mark.parametrize(
    ("options", "key"), [([], "wine_clm_logit"), (["--random", "judge"], "wine_clmm_judge_nAGQ1")]
)
def test_ordinal_scale_gives_thresholds_by_their_categories(capsys, options, key):
    found, expected = fitted(capsys, *WINE, "--scale", "ordinal", *options), ORDINAL[key]
    names = ["temp=warm", "contact=yes", "threshold:1-2", "threshold:2-3", "threshold:3-4", "threshold:4-5"]
    assert list(found["estimates"]) == names
    wanted = [*expected["effects"].values(), *expected["thresholds"].values()]
    got = [entry["estimate"] for entry in found["estimates"].values()]
    assert got == pytest.approx(wanted, abs=2e-5 if options else 1e-6)  # see the head of ordinal.toml
    assert list(found["spread"]) == (["judge"] if options else [])


def test_nodes_reach_the_reference(capsys):
    found = fitted(capsys, *WINE, "--scale", "ordinal", "--random", "judge", "--nodes", "10")
    assert found["loglik"] == pytest.approx(ORDINAL["wine_clmm_judge_nAGQ10"]["loglik"], abs=1e-5)


def test_binary_scale_takes_the_second_answer_as_success(capsys, tmp_path):
    words = ["ratings", expand_cbpp(tmp_path / "herds.csv"), "--answer", "ill", "--fixed", "period:"]
    found = fitted(capsys, *words, "--random", "herd", "--scale", "binary")
    expected = LOGISTIC["cbpp_laplace"]["fixed"]
    got = [entry["estimate"] for entry in found["estimates"].values()]
    # the reference's default optimiser stops up to 1e-4 short: see the head of logistic_mixed.toml
    assert got == pytest.approx(list(expected.values()), abs=1e-4)
    assert list(found["estimates"]) == ["intercept", "period=2", "period=3", "period=4"]
    assert list(found["spread"]) == ["herd"]
    plain = fitted(capsys, *words, "--scale", "binary", "--link", "cloglog")
    assert plain["spread"] == {}


def test_columns_may_stand_in_any_order_and_rows_too(capsys, tmp_path):
    lines = (PUBLISHED / "wine.csv").read_text().split()
    rows = [line.split(",")[::-1] for line in lines]
    turned = tmp_path / "turned.csv"
    turned.write_text("\n".join(",".join(row) for row in [rows[0], *rows[:0:-1]]))
    plain = fitted(capsys, *WINE, "--scale", "ordinal", "--random", "judge")
    other = fitted(capsys, "ratings", str(turned), *WINE[2:], "--scale", "ordinal", "--random", "judge")
    assert other["loglik"] == pytest.approx(plain["loglik"], abs=1e-8)


def test_text_form_shows_every_name(capsys):
    assert main(["fit", *SLEEP, "--fixed", "Days"]) == 0
    shown = capsys.readouterr().out
    for word in ("intercept", "Days", "Subject", "residual", "log-likelihood", "10.4673"):
        assert word in shown


def test_few_levels_are_warned_about(capsys):
    found = fitted(capsys, *WINE[:4], "--fixed", "contact", "--random", "temp")
    assert found["warnings"][-1] == "temp has 2 levels: its spread is hardly known"


def test_two_way_answers_predicted_perfectly_get_the_penalised_fit(capsys, tmp_path):
    """By hand: one half is added to each cell (Firth 1993), so log(4.5 / 0.5) for a and 0 for b."""
    table = tmp_path / "table.csv"
    table.write_text("heard,who\n" + "yes,a\n" * 4 + "yes,b\nyes,b\nno,b\nno,b\n")
    found = fitted(capsys, "ratings", str(table), "--answer", "heard", "--fixed", "who", "--scale", "binary")
    assert found["estimates"]["intercept"]["estimate"] == pytest.approx(math.log(9), abs=1e-6)
    assert found["estimates"]["who=b"]["estimate"] == pytest.approx(-math.log(9), abs=1e-6)
    assert "predicted perfectly by intercept, who=b" in found["warnings"][0]
    assert "keeps it finite" in found["warnings"][0]
    assert "do not test with it" in found["warnings"][1]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("score,who\n1,a\nx,b\n2,c\n3,a\n", "line 3, column score: found 'x', wanted a number"),
        ("score,who\n1,a\n2\n3,b\n", "line 3: found 1 cells, wanted 2"),
        ("score,who\n1,a\n,b\n3,c\n", "line 3, column score: the cell is empty"),
        ("score,who\n1,a\ninf,b\n3,c\n", "line 3, column score: found 'inf'"),
        ("score,score\n1,a\n", "column score stands twice"),
        ("score,who\n", "no rows below the heading"),
        ("", "the file is empty"),
        ("score:who\n1:a\n", "no column score"),
        ("score,who\n1,a\n2,a\n3,a\n", "factor 'who' has the one level 'a'"),
        ("score,who\n1,a\n2,b\n", "cannot bear 2 fixed effects"),
    ],
    ids=[
        "text",
        "short",
        "empty",
        "infinite",
        "twice",
        "no rows",
        "nothing",
        "colons",
        "one level",
        "few",
    ],
)
def test_a_bad_table_is_named_by_line(capsys, tmp_path, text, message):
    table = tmp_path / "table.csv"
    table.write_text(text)
    assert message in refused(capsys, "ratings", str(table), "--answer", "score", "--fixed", "who")


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["ratings", "none.csv", "--answer", "a", "--fixed", "b"], "none.csv: no such file"),
        ([*WINE[:4], "--fixed", "tempo"], "no column tempo; found response, rating"),
        ([*WINE[:4], "--fixed", "temp,temp"], "temp is asked for twice"),
        ([*WINE[:4], "--fixed", "1,temp"], "or 1 alone"),
        ([*WINE, "--link", "probit"], "belong to --scale ordinal and binary"),
        ([*WINE, "--scale", "ordinal", "--ml"], "--ml belongs to --scale interval"),
        ([*WINE, "--scale", "ordinal", "--nodes", "5"], "needs exactly one --random column, found 0"),
        ([*WINE, "--scale", "binary"], "found 5 different answers, wanted 2"),
        ([*WINE[:4], "--fixed", "response", "--scale", "ordinal"], "predicts the categories perfectly"),
        (["counts", "--task", "square", "--correct", "3", "--trials", "9"], "wanted triangle, duo-trio"),
        (["counts", "--task", "triangle", "--correct", "10", "--trials", "9"], "10 correct of 9 trials"),
    ],
)
def test_what_cannot_be_done_is_said_plainly(capsys, words, message):
    assert message in refused(capsys, *words)


def test_counts_give_the_contract(capsys):
    found = fitted(capsys, "counts", "--task", "triangle", "--correct", "46", "--trials", "100")
    assert list(found["estimates"]) == ["d_prime", "share_correct", "share_discriminating"]
    assert found["estimates"]["d_prime"]["estimate"] == pytest.approx(1.250005140031672, abs=1e-9)
    assert found["p_difference"] == pytest.approx(0.00570937084883201, rel=1e-9)
    assert (found["n"], found["spread"], found["reference"]) == (100, {}, None)


@pytest.mark.parametrize(
    ("correct", "word"), [("3", "below guessing"), ("5", "exactly"), ("10", "all correct")]
)
def test_counts_at_a_limit_say_so_and_stay_valid_json(capsys, correct, word):
    found = fitted(capsys, "counts", "--task", "2-afc", "--correct", correct, "--trials", "10")
    assert word in found["warnings"][0]
    assert main(["fit", "counts", "--task", "2-afc", "--correct", correct, "--trials", "10"]) == 0
    assert word in capsys.readouterr().out


CROSSED = """listener,design,hanging,rating
L1,A,free,1.5
L1,A,bar,1.5
L1,B,free,3.5
L1,B,bar,9.5
L2,A,free,2.5
L2,A,bar,4.5
L2,B,free,6.5
L2,B,bar,10.5
"""


def test_an_interaction_is_the_difference_of_differences(tmp_path, capsys):
    """Cell means 2, 3, 5, 10: by hand, (5 - 2) - (10 - 3) = -4 for free against bar."""
    table = tmp_path / "crossed.csv"
    table.write_text(CROSSED)
    told = []
    for effects in (
        ["--fixed", "design,hanging,design:hanging"],
        ["--fixed", "design", "--fixed", "hanging", "--fixed", "design:hanging"],
    ):
        words = ["ratings", str(table), "--answer", "rating", *effects, "--random", "listener"]
        told.append(fitted(capsys, *words)["estimates"])
    assert told[0] == told[1]
    found = {name: entry["estimate"] for name, entry in told[0].items()}
    assert found["design=B:hanging=free"] == pytest.approx(-4, abs=1e-6)
    assert found["design=B"] == pytest.approx(7, abs=1e-6)
    assert found["hanging=free"] == pytest.approx(-1, abs=1e-6)


def test_an_interaction_without_its_columns_is_named(tmp_path, capsys):
    table = tmp_path / "crossed.csv"
    table.write_text(CROSSED)
    words = ["fit", "ratings", str(table), "--answer", "rating", "--fixed", "design,design:hanging"]
    assert main(words) == 2
    assert "hanging does not stand by itself" in capsys.readouterr().err


def test_an_interaction_of_a_column_with_itself_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "r.csv"
    path.write_text("design,score\nx,1\ny,2\n")
    words = ["fit", "ratings", str(path), "--answer", "score", "--fixed", "design,design:design"]
    assert main(words) == 2
    assert "an interaction of different columns" in capsys.readouterr().err
