"""A table collected elsewhere becomes findings and a page: described, and never decided."""

import json
import re
import tomllib
from pathlib import Path

import numpy as np
import pytest

from listening import cli
from listening.records.found.findings import Findings

PUBLISHED = Path(__file__).resolve().parents[1] / "published"
TABLE, ABOUT = PUBLISHED / "sound_fields.csv", PUBLISHED / "sound_fields_about.toml"


@pytest.fixture(scope="module")
def sound_fields(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("fields") / "study"
    assert cli.main(["import", str(TABLE), str(folder), "--about", str(ABOUT)]) == 0
    assert cli.main(["report", str(folder)]) == 0
    return folder


def panel(tmp_path: Path, *, n_listeners: int, tie: bool = False, known: bool = True) -> list[str]:
    """Words of the command for a made panel: B is chosen 9 times in 10, by everybody alike."""
    rng = np.random.default_rng(3)
    rows = ["first,second,answer,listener"]
    for name in range(n_listeners):
        for k in range(8):
            b_first = k % 2 == 0
            b_chosen = rng.random() < 0.9
            rows.append(
                f"{'B,A' if b_first else 'A,B'},{'first' if b_first == b_chosen else 'second'},L{name:02d}"
            )
    if tie:
        rows[-1] = "A,B,tie,L00"
    (tmp_path / "answers.csv").write_text("\n".join(rows) + "\n")
    (tmp_path / "about.toml").write_text(
        'name = "made"\ntitle = "A made panel"\n'
        f"table = {{ first_heard_first = {str(known).lower()} }}\nlistened = {{ simulated = true }}\n"
        '[[questions]]\nid = "b-over-a"\nkind = "more"\ncontrast = { more = "B", than = "A" }\n'
        "smallest_effect = 0.6\n"
    )
    return [
        "import",
        str(tmp_path / "answers.csv"),
        str(tmp_path / "study"),
        "--about",
        f"{tmp_path}/about.toml",
    ]


def test_the_estimates_printed_by_kousgaard_come_out(sound_fields) -> None:
    printed = tomllib.loads((PUBLISHED / "ties.toml").read_text())["kousgaard_published"]["table3_flute"]
    found = Findings.load(sound_fields / "findings.json")
    made = {
        s.condition: s.strength.value / 2 for s in found.strengths[0].strengths
    }  # printed in half our units
    assert made.keys() == printed.keys()
    for name, value in printed.items():
        assert made[name] == pytest.approx(value, abs=5e-4), name  # printed to 3 places


def test_standard_errors_and_readiness_for_no_difference_are_those_of_r(sound_fields) -> None:
    reference = tomllib.loads((PUBLISHED / "ties.toml").read_text())["davidson_sound_fields_flute"]
    found = Findings.load(sound_fields / "findings.json")
    assert found.imported.log_nu == pytest.approx(reference["estimate"]["log_nu"], abs=1e-6)
    pooled = found.question("110-more-liked-than-001").sensitivity[0]
    expected = reference["estimate"]["F110"] - reference["estimate"]["F001"]
    assert pooled.estimate == pytest.approx(expected, abs=1e-6)


def test_without_listeners_there_is_no_share_with_limits(sound_fields) -> None:
    found = Findings.load(sound_fields / "findings.json")
    assert [q.word for q in found.questions] == ["no verdict", "no verdict"]
    assert all("listeners not identified" in q.reason for q in found.questions)
    assert all(q.share is None and not q.listeners for q in found.questions)
    assert all(s.word is None for q in found.questions for s in q.sensitivity)
    page = (sound_fields / "report" / "report.html").read_text()
    assert "undecided<" not in page
    assert len(re.findall(r"chosen in \d+ of \d+ direct comparisons[,.]", page)) == 2
    assert "planned before anyone" not in page
    assert "planned before the test" not in page


@pytest.mark.parametrize(
    ("options", "reason"),
    [
        ({"n_listeners": 12}, "shows no plan"),
        ({"n_listeners": 7}, "shows no plan"),
        ({"n_listeners": 12, "tie": True}, "shows no plan"),
        ({"n_listeners": 12, "known": False}, "heard first"),
    ],
    ids=["enough", "few", "ties", "order unknown"],
)
def test_a_table_with_listeners_is_described_with_limits_and_never_decided(tmp_path, options, reason) -> None:
    """B was chosen 9 times in 10 by everybody: in a planned study it would be supported."""
    assert cli.main(panel(tmp_path, **options)) == 0
    found = Findings.load(tmp_path / "study" / "findings.json")
    q = found.question("b-over-a")
    assert (q.word, q.decided_by) == ("no verdict", "nothing")
    assert reason in q.reason
    assert q.n_listeners == options["n_listeners"]
    assert q.share.lower < q.share.value < q.share.upper
    assert all(s.word is None for s in q.sensitivity)
    assert found.winners == ()


def test_nothing_of_an_imported_table_may_be_printed(tmp_path) -> None:
    assert cli.main(panel(tmp_path, n_listeners=24)) == 0
    assert cli.main(["report", str(tmp_path / "study")]) == 0
    page = (tmp_path / "study" / "report" / "report.html").read_text()
    [card] = re.findall(r"<article.*?</article>", page, flags=re.DOTALL)
    assert "chosen in 177 of 192 direct comparisons" in card
    assert "upported" not in card
    assert cli.main(["claim", str(tmp_path / "study"), "B is more liked than A"]) != 0


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        (["A,B,first", "B,B,first"], r"line 3: 'B' is compared with itself"),
        (["A,B,first", "A,B,maybe"], r"line 3, column answer: found 'maybe', wanted first, second or tie"),
        (["A,B,first", "A,,first"], r"line 3, column second: the cell is empty"),
        (["A,B"], r"line 2: found 2 cells, wanted 3"),
    ],
    ids=["itself", "word", "empty", "short"],
)
def test_a_bad_row_is_named_by_its_line(tmp_path, capsys, rows, message) -> None:
    table = tmp_path / "answers.csv"
    table.write_text("\n".join(["first,second,answer", *rows]) + "\n")
    assert cli.main(["import", str(table), str(tmp_path / "study")]) == 2
    assert message in capsys.readouterr().err
    assert not (tmp_path / "study").exists()


@pytest.mark.parametrize(
    ("heading", "row", "message"),
    [
        ("first,second,chosen_first,chosen_second", "A,B,2,1.5", "wanted a whole number"),
        ("first,second,chosen_first,chosen_second", "A,B,2,-1", "line 2, column chosen_second: found -1"),
        ("first,second,chosen_first", "A,B,2", "wanted either a column answer"),
        ("first,second,chosen_first,chosen_second", "A,B,0,0", "no answer in it"),
        ("one,second,answer", "A,B,first", "no column first"),
    ],
    ids=["fraction", "negative", "neither", "nothing", "column"],
)
def test_a_table_that_cannot_be_read_says_why(tmp_path, capsys, heading, row, message) -> None:
    table = tmp_path / "counts.csv"
    table.write_text(f"{heading}\n{row}\n")
    assert cli.main(["import", str(table), str(tmp_path / "study")]) == 2
    assert message in capsys.readouterr().err


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ('title = "x"\ntitel = "y"', "line 3: titel: no such key"),
        ('title = "Old test"\n[[questions]]\nid = "q"\nkind = "more"\nsmallest_effect = 0.6\n'
         'contrast = { more = "A", than = "Z" }', "questions[0] (q): found 'Z'"),
        ('title = "Old test"\n[labels]\nZ = "dome Z"', "labels: found Z"),
    ],
    ids=["key", "question", "label"],
)  # fmt: skip
def test_a_slip_in_the_file_about_the_table_is_named(tmp_path, capsys, line, message) -> None:
    (tmp_path / "answers.csv").write_text("first,second,answer\nA,B,first\nB,A,first\n")
    (tmp_path / "about.toml").write_text(f'name = "old"\n{line}\n')
    words = ["import", f"{tmp_path}/answers.csv", f"{tmp_path}/study", "--about", f"{tmp_path}/about.toml"]
    assert cli.main(words) == 2
    assert message in capsys.readouterr().err


def test_a_counted_table_without_a_word_about_it_describes(tmp_path) -> None:
    table = tmp_path / 'old "test".csv'
    table.write_text("first,second,chosen_first,chosen_second\nA,B,7,3\nB,C,6,4\nC,A,2,8\n")
    assert cli.main(["import", str(table), str(tmp_path / "study")]) == 0
    found = Findings.load(tmp_path / "study" / "findings.json")
    assert found.questions == ()
    assert [s.n for s in found.strengths[0].strengths] == [20, 20, 20]
    assert cli.main(["report", str(tmp_path / "study")]) == 0
    assert cli.main(["verify", str(tmp_path / "study")]) == 0


def test_a_study_of_its_own_is_not_written_over(tmp_path, capsys) -> None:
    (tmp_path / "protocol.toml").write_text("format = 1\n")
    assert cli.main(["import", str(TABLE), str(tmp_path), "--about", str(ABOUT)]) == 2
    assert "name another folder" in capsys.readouterr().err


def test_verify_sees_a_changed_cell(sound_fields, capsys) -> None:
    assert cli.main(["verify", str(sound_fields), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["same"]
    kept = sound_fields / "imported.csv"
    whole = kept.read_text()
    kept.write_text(whole.replace("F111,F110,1,1,3", "F111,F110,1,2,2"))
    assert cli.main(["verify", str(sound_fields)]) == 1
    assert "findings: DIFFER" in capsys.readouterr().out
    kept.write_text(whole)
