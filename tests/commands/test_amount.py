"""-q and -v on every command: errors alone, as usual, or every list in full."""

import argparse
import json
from pathlib import Path

import pytest

from listening import cli
from listening.commands import deal
from listening.commands.prepare import prepare_tables
from listening.console import amount, progress
from listening.design import balance
from listening.planning.covariate_criticism import Preview

TABLE = "answer,design\n1,a\n2,b\n3,a\n5,b\n4,b\n"
FIT = ["fit", "ratings", "{}", "--answer", "answer", "--fixed", "design"]


@pytest.fixture
def words(tmp_path: Path) -> list[str]:
    """A command of two words on a small table."""
    path = tmp_path / "answers.csv"
    path.write_text(TABLE)
    return [word.format(path) for word in FIT]


@pytest.mark.parametrize("name", list(cli.COMMANDS))
def test_every_command_shows_both_in_its_help(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        cli.main([name, "--help"])
    said = capsys.readouterr().out
    assert "-q, --quiet" in said
    assert "-v, --verbose" in said


@pytest.mark.parametrize("place", [0, 1, 3, -1])
def test_quiet_is_taken_wherever_it_stands(
    words: list[str], place: int, capsys: pytest.CaptureFixture[str]
) -> None:
    at = place + 1 if place >= 0 else len(words)
    assert cli.main([*words[:at], "-q", *words[at:]]) == 0
    assert capsys.readouterr().out == ""
    assert cli.main(words) == 0
    assert "Fitted" in capsys.readouterr().out  # and holds for one command only


def test_errors_and_documents_are_printed_when_quiet(
    words: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.main([*words, "-q", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)
    assert cli.main([*words[:-1], "nothing", "--quiet"]) == 2
    assert "no column nothing" in capsys.readouterr().err


def test_what_stands_after_two_dashes_is_no_option() -> None:
    with amount.taken(["withdraw", "-v", "--", "-q"]) as rest:
        assert rest == ["withdraw", "--", "-q"]
        assert amount.is_everything()
    assert not amount.is_everything()


def test_no_bar_is_drawn_when_quiet(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stderr.isatty", lambda: 1 / 0)  # it is not even looked at
    with amount.taken(["-q"]), progress.bar("nothing") as on_progress:
        on_progress(1, 2)


LINES = [balance.Line("hearings", 2, 2, exact=True), balance.Line("steps", 1, 2, exact=False)]


def test_deal_lists_every_count_with_v_alone() -> None:
    assert deal._balance(LINES) == ["balanced: 1 of 2 counts exactly, the others nearly (each of them: -v)"]
    with amount.taken(["-v"]):
        assert deal._balance(LINES) == ["  exact  hearings: 2", "  nearly steps: 1 to 2"]


def test_one_pair_has_no_inflation_to_print() -> None:
    import numpy as np

    found = Preview(
        "matched", ("level", "sharpness", "decay"), (), ("level", "decay"), np.eye(2), np.full(2, np.inf)
    )
    assert "inf" not in prepare_tables.pairs(found)[-1].replace("inflation", "")
    assert "too few pairs" in prepare_tables.pairs(found)[-1]


def test_options_are_declared_once() -> None:
    parser = argparse.ArgumentParser()
    amount.options(parser)
    assert parser.parse_args(["-q"]).quiet
