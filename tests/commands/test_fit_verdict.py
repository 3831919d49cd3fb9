"""`listening fit verdict` on tables written by hand: words, contract, slips named by line."""

import json
from pathlib import Path

import numpy as np
import pytest

from listening import cli
from tests import verdict_rows

HEAD = "listener,first,second,answer"


def rows(shares, answers=12, pair=("b", "a")):
    """Listener i chooses the first of the pair in `shares[i]` of the answers, orders in turn."""
    more, than = pair
    made = []
    for who, share in enumerate(shares):
        for trial in range(answers):
            chosen = trial * share // 1 != (trial + 1) * share // 1  # spread evenly over the trials
            turned = trial // 2 % 2
            first, second = (than, more) if turned else (more, than)
            made.append(f"L{who},{first},{second},{'second' if chosen == turned else 'first'}")
    return made


def write(path, lines, head=HEAD):
    path.write_text("\n".join([head, *lines]) + "\n", encoding="utf-8")
    return str(path)


def judged(capsys, *tables, kind="more", smallest="0.60", more=()):
    code = cli.main(
        [
            "fit",
            "verdict",
            *tables,
            "--more",
            "b",
            "--than",
            "a",
            "--kind",
            kind,
            "--smallest",
            smallest,
            "--json",
            *more,
        ]
    )
    assert code == 0
    return json.loads(capsys.readouterr().out)


@pytest.mark.parametrize(
    ("shares", "kind", "smallest", "word"),
    [
        ([1.0] * 24, "more", "0.60", "supported"),
        ([1.0] * 8, "more", "0.60", "supported"),
        ([1.0] * 7, "more", "0.60", "no verdict"),
        ([0.0] * 24, "more", "0.60", "contradicted"),
        ([0.75] * 12 + [0.5] * 12, "more", "0.60", "supported"),
        ([0.58] * 12 + [0.5] * 12, "more", "0.60", "contradicted"),
        ([1.0] * 12 + [0.0] * 12, "more", "0.60", "undecided"),
        ([0.5] * 24, "same", "0.70", "supported"),
        ([1.0] * 12 + [0.0] * 12, "same", "0.70", "undecided"),
        ([1.0] * 24, "same", "0.70", "contradicted"),
    ],
)
def test_words(tmp_path, capsys, shares, kind, smallest, word):
    (found,) = judged(capsys, write(tmp_path / "t.csv", rows(shares, 24)), kind=kind, smallest=smallest)
    assert found["word"] == word
    assert found["share"] == pytest.approx(np.mean(shares), abs=0.03)
    assert found["lower"] <= found["share"] <= found["upper"]
    assert found["direct"]["of"] == 24 * len(shares)


def test_what_is_in_the_json(tmp_path, capsys):
    table = write(tmp_path / "t.csv", rows([0.75] * 10))
    (found,) = judged(capsys, table, more=["--alpha", "0.01"])
    contract = {"word", "share", "lower", "upper", "alpha", "listeners", "df", "direct", "reason"}
    assert contract | {"transitivity_p", "warnings"} <= set(found)
    assert (found["alpha"], found["listeners"], found["direct"]) == (0.01, 10, {"chosen": 90, "of": 120})
    assert found["transitivity_p"] is None


def test_several_tables_are_judged_in_order_in_one_list(tmp_path, capsys):
    one = write(tmp_path / "one.csv", rows([1.0] * 9))
    two = write(tmp_path / "two.csv", rows([0.0] * 9))
    assert [f["word"] for f in judged(capsys, one, two, one)] == ["supported", "contradicted", "supported"]


def test_degrees_of_freedom_come_from_those_who_met_the_pair(tmp_path, capsys):
    """Two of 24 listeners met the pair: an earlier method counted 22 degrees of freedom."""
    lines = [*rows([0.8] * 24, pair=("b", "c")), *rows([0.9, 0.8])]
    (found,) = judged(capsys, write(tmp_path / "t.csv", lines))
    assert (found["word"], found["listeners"]) == ("no verdict", 2)
    assert found["df"] <= 1


def test_other_pairs_describe_and_do_not_decide(tmp_path, capsys):
    """b is even with a, and beats c, which beats nothing: strengths over all would say more."""
    direct = rows([0.4, 0.5, 0.5, 0.5] * 6)
    lines = [*direct, *rows([1.0] * 24, pair=("b", "c")), *rows([0.5] * 24, pair=("a", "c"))]
    (found,) = judged(capsys, write(tmp_path / "t.csv", lines))
    assert found["word"] == "contradicted"
    assert found["transitivity_p"] < 0.01
    assert [(p["first"], p["second"], p["chosen"], p["of"]) for p in found["described"]] == [
        ("a", "c", 144, 288),
        ("b", "c", 288, 288),
    ]


def test_never_compared_directly_is_no_verdict(tmp_path, capsys):
    lines = [*rows([1.0] * 24, pair=("b", "c")), *rows([0.0] * 24, pair=("a", "c"))]
    (found,) = judged(capsys, write(tmp_path / "t.csv", lines))
    assert (found["word"], found["share"], found["listeners"]) == ("no verdict", None, 0)


def test_level_by_any_metric_can_stop_it(tmp_path, capsys):
    head = f"{HEAD},level_db,level_db:lae"
    direct = [f"{line},0.0,{'-1.5' if ',a,b,' in line else '1.5'}" for line in rows([0.8] * 24, 20)]
    weak = [f"L{i},a,a,{w},{g}," for i in range(24) for w, g in (("first", 2), ("second", 2)) * 5]
    strong = [f"L{i},a,a,{w},{g}," for i in range(24) for w, g in (("first", 2), ("second", -2)) * 5]
    (found,) = judged(capsys, write(tmp_path / "weak.csv", direct + weak, head))
    assert (found["word"], found["level"][0]["metric"]) == ("supported", "level_db:lae")
    (found,) = judged(capsys, write(tmp_path / "strong.csv", direct + strong, head))
    assert (found["word"], found["level"][0]["gains"][0]["share_louder"]) == ("undecided", 1.0)
    assert "level may be why" in found["reason"]


def test_ties_count_half(tmp_path, capsys):
    lines = [f"L{i},b,a,{w}" for i in range(10) for w in ("tie", "first", "Tie", "second")]
    (found,) = judged(capsys, write(tmp_path / "t.csv", lines))
    assert (found["share"], found["direct"]) == (0.5, {"chosen": 20, "of": 40})


def test_text_is_short_and_prints_no_sentence(tmp_path, capsys):
    table = write(tmp_path / "t.csv", rows([1.0] * 9))
    words = ["fit", "verdict", table, "--more", "b", "--than", "a", "--kind", "more", "--smallest", "0.6"]
    assert cli.main(words) == 0
    out = capsys.readouterr().out
    assert "b more than a: supported" in out
    assert "No sentence to print" in out


STRIKES = f"{HEAD},strike_first,strike_second"


@pytest.mark.parametrize(
    ("head", "lines", "options", "told"),
    [
        (HEAD, ["L1,b,a,maybe"], [], "line 2, column answer: found 'maybe'"),
        (HEAD, ["L1,b,a,first", "L1,b,a"], [], "line 3: found 3 cells, wanted 4"),
        (HEAD, ["L1,b,c,first"], [], "no row names 'a'; found b, c"),
        (HEAD, ["L1,b,,first"], [], "line 2, column second: the cell is empty"),
        (HEAD, [], [], "no rows below the heading"),
        ("listener,first,answer", ["L1,b,first"], [], "no column second"),
        (STRIKES, ["L1,b,a,first,1,"], [], "line 2, column strike_second: the cell is empty"),
        (f"{HEAD},strike_first", ["L1,b,a,first,1"], [], "strike_first without strike_second"),
        (f"{HEAD},level_db", ["L1,b,a,first,loud"], [], "line 2, column level_db: found 'loud'"),
        (
            f"{HEAD},level_db",
            ["L1,b,a,first,1", "L1,b,a,first,"],
            [],
            "line 3, column level_db: the cell is empty",
        ),
        (HEAD, ["L1,b,a,first"], ["--smallest", "0.4"], "--smallest 0.4: wanted a share of choices from 0.5"),
        (HEAD, ["L1,b,a,first"], ["--alpha", "0"], "--alpha 0: wanted above 0"),
        (HEAD, ["L1,b,a,first"], ["--limit-outside", "2"], "--limit-outside 2"),
        (HEAD, ["L1,b,a,first"], ["--than", "b"], "wanted two different sounds"),
    ],
)
def test_slips_are_told_with_place_and_leave_code_2(tmp_path, capsys, head, lines, options, told):
    table = write(tmp_path / "t.csv", lines, head)
    words = ["--more", "b", "--than", "a", "--kind", "more", "--smallest", "0.6", *options]
    assert cli.main(["fit", "verdict", table, *words]) == 2
    assert told in capsys.readouterr().err


@pytest.mark.parametrize(
    ("truth", "word"),
    [("complete agreement", "supported"), ("2 of 24 met the pair directly", "no verdict")],
)
def test_a_second_generators_tables_get_the_word_that_is_certain(
    truth: str, word: str, tmp_path: Path
) -> None:
    assert verdict_rows.words(verdict_rows.ROWS[truth], 3, tmp_path) == [word] * 3
