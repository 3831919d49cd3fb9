"""`import stats` in a notebook: the same numbers as the commands, to the last digit, and errors that help."""

import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import stats
from listening import cli
from listening.errors import ListeningError

ROOT = Path(__file__).parents[3]


def pairs() -> pd.DataFrame:
    rng = np.random.default_rng(5)
    strength = dict(zip("abcd", (0.0, 0.8, -0.6, 0.3), strict=True))
    rows = []
    for listener in range(12):
        for _ in range(20):
            one, other = rng.choice(list(strength), 2, replace=False)
            tilt = strength[one] - strength[other] + 0.2 + rng.logistic()
            answer = "tie" if abs(tilt) < 0.3 else "first" if tilt > 0 else "second"
            rows.append((f"l{listener}", one, other, answer, round(strength[one] - strength[other], 3)))
    return pd.DataFrame(rows, columns=["listener", "first", "second", "answer", "level"])


def ratings() -> pd.DataFrame:
    rng = np.random.default_rng(6)
    grid = [(f"l{i:02}", f"s{j}", "AB"[j % 2]) for i in range(10) for j in range(6)]
    frame = pd.DataFrame(grid, columns=["listener", "stimulus", "design"])
    values = 50 + 6 * (frame["design"] == "B") + rng.normal(0, 8, len(frame)).round(1)
    return frame.assign(
        rating=values, category=(values // 15).astype(int), yes=np.where(values > 53, "yes", "no")
    )


def printed(capsys: pytest.CaptureFixture[str], *words: object) -> str:
    assert cli.main(["fit", *map(str, words)]) == 0
    return capsys.readouterr().out


PAIRS = [
    ({"ties": "davidson", "order": True}, ["--ties", "davidson", "--order"]),
    ({"ties": "rao-kupper", "order": False, "link": "probit"}, ["--ties", "rao-kupper", "--link", "probit"]),
    (
        {"ties": "rao-kupper", "covariates": ["level"], "slopes": ["level"]},
        ["--ties", "rao-kupper", "--order", "--covariates", "level", "--slopes", "level"],
    ),
]


@pytest.mark.parametrize(("options", "words"), PAIRS, ids=["davidson", "rao-kupper probit", "slopes"])
def test_pairs_are_those_of_the_command_to_the_last_digit(options, words, tmp_path, capsys):
    path = tmp_path / "pairs.csv"
    pairs().to_csv(path, index=False)
    found = stats.fit_pairs(pairs(), **options)
    assert json.loads(printed(capsys, "pairs", path, *words, "--json")) == json.loads(
        json.dumps(found.to_dict())
    )
    assert printed(capsys, "pairs", path, *words) == found.summary() + "\n"
    assert found.to_frame()["estimate"].to_dict() == {
        name: entry["estimate"] for name, entry in found.to_dict()["estimates"].items()
    }


RATINGS = [
    ({"answer": "rating", "scale": "interval"}, ["--answer", "rating"]),
    ({"answer": "category", "scale": "ordinal"}, ["--answer", "category", "--scale", "ordinal"]),
    (
        {"answer": "yes", "scale": "binary", "link": "probit"},
        ["--answer", "yes", "--scale", "binary", "--link", "probit"],
    ),
]


@pytest.mark.parametrize(("options", "words"), RATINGS, ids=["interval", "ordinal", "binary"])
def test_ratings_are_those_of_the_command_to_the_last_digit(options, words, tmp_path, capsys):
    path = tmp_path / "ratings.csv"
    ratings().to_csv(path, index=False)
    found = stats.fit_ratings(ratings(), fixed=["design"], random=["listener", "stimulus"], **options)
    words = ["ratings", path, "--fixed", "design", "--random", "listener,stimulus", *words]
    assert json.loads(printed(capsys, *words, "--json")) == json.loads(json.dumps(found.to_dict()))
    assert printed(capsys, *words) == found.summary() + "\n"
    assert list(found.to_frame().index) == list(found.to_dict()["estimates"])


def test_counts_are_those_of_the_command_to_the_last_digit(capsys):
    found = stats.fit_counts(task="triangle", correct=20, trials=40)
    words = ["counts", "--task", "triangle", "--correct", 20, "--trials", 40]
    assert json.loads(printed(capsys, *words, "--json")) == found.to_dict()
    assert printed(capsys, *words) == found.summary() + "\n"
    assert found.to_frame().loc["d_prime", "estimate"] == found.d_prime


WRONG = {
    "no column": (lambda: stats.fit_pairs(pairs().drop(columns="answer")), "no column answer"),
    "no row": (lambda: stats.fit_pairs(pairs().iloc[:0]), "no rows"),
    "an empty cell": (
        lambda: stats.fit_pairs(pairs().astype({"answer": object}).mask(pairs()["answer"] == "first")),
        "row .*, column first: the cell is empty",
    ),
    "a strange word": (
        lambda: stats.fit_pairs(pairs().replace({"answer": {"tie": "neither"}})),
        "found 'neither', wanted first, second or tie",
    ),
    "ties without a model": (lambda: stats.fit_pairs(pairs()), "are ties"),
    "an unknown model of ties": (lambda: stats.fit_pairs(pairs(), ties="other"), "wanted davidson"),
    "order twice": (lambda: stats.fit_pairs(pairs(), "davidson", covariates=["order"]), "leave one out"),
    "words as numbers": (
        lambda: stats.fit_ratings(ratings(), "yes", ["design"], scale="interval"),
        "wanted a number",
    ),
    "an unknown scale": (lambda: stats.fit_ratings(ratings(), scale="ratio"), "wanted interval"),
    "a column twice": (lambda: stats.fit_ratings(ratings(), "rating", ["rating"]), "asked for twice"),
    "too many correct": (lambda: stats.fit_counts("triangle", 50, 40), "50 correct of 40"),
    "half an answer": (lambda: stats.fit_counts("triangle", 20.5, 40), "whole numbers"),
    "an unknown task": (lambda: stats.fit_counts("square", 5, 40), "square"),
}


@pytest.mark.parametrize("case", WRONG)
def test_what_a_person_can_mend_is_a_listening_error(case):
    act, message = WRONG[case]
    with pytest.raises(ListeningError, match=message):
        act()


def test_kenward_and_rogers_degrees_of_freedom_are_those_of_the_command(tmp_path, capsys):
    path = tmp_path / "ratings.csv"
    uneven = ratings().iloc[:-7]
    uneven.to_csv(path, index=False)
    options = {"fixed": ["design"], "random": ["listener", "stimulus"]}
    found = stats.fit_ratings(uneven, df="kenward-roger", **options)
    words = ["ratings", path, "--answer", "rating", "--fixed", "design", "--random", "listener,stimulus"]
    told = json.loads(printed(capsys, *words, "--df", "kenward-roger", "--json"))
    assert told == json.loads(json.dumps(found.to_dict()))
    plain = stats.fit_ratings(uneven, **options)
    assert found.se[1] > 1.001 * plain.se[1]  # the correction takes hold; its values are tested in its room
    with pytest.raises(ListeningError, match="--df"):
        stats.fit_ratings(uneven, answer="yes", scale="binary", df="kenward-roger", **options)


def test_means_of_a_balanced_table_are_the_plain_means():
    # balanced: generalised least squares gives each level's plain mean (worked by hand from the model)
    found = stats.compare_levels(ratings(), "design", random=["listener", "stimulus"])
    plain = ratings().groupby("design")["rating"].mean()
    assert found.means.to_frame()["estimate"].to_dict() == pytest.approx(plain.to_dict(), abs=1e-6)
    assert abs(found.to_frame()["estimate"].iloc[0]) == pytest.approx(abs(plain["A"] - plain["B"]), abs=1e-6)


@pytest.mark.parametrize("name", stats.__all__)
def test_every_name_at_the_front_door_opens_and_is_described(name):
    found = getattr(stats, name)
    assert found.__doc__
    assert name in dir(stats)


def test_importing_either_package_loads_nothing_heavy():
    heavy = ["numpy", "scipy", "pandas", "numba", "pydantic", "matplotlib", "sqlalchemy", "soundfile"]
    source = f"import sys, listening, stats; print([m for m in {heavy} if m in sys.modules])"
    out = subprocess.run([sys.executable, "-c", source], cwd=ROOT, capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "[]"


def test_an_unknown_name_is_no_attribute():
    assert "fit_pairs" in dir(stats)
    with pytest.raises(AttributeError, match="fit_pair"):
        _ = stats.fit_pair
