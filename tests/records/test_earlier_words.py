"""What a file or a command line of the version before says is read for one more version, and told once."""

import re
from pathlib import Path

import pytest

from listening import cli
from listening.errors import RecordError
from listening.records.protocols import earlier_words, protocol
from listening.records.sounds import recordings_table

ROOT = Path(__file__).parents[2]
BELLS = ROOT / "protocols" / "bells.toml"
EARLIER = [  # today's word, the word before
    (r"^wording = ", "question = "),
    (r"^examples = ", "anchor = "),
    (r"^claimed_ratio = ", "factor = "),
]


@pytest.fixture
def before(tmp_path: Path) -> Path:
    """The bells' protocol and table as the version before wrote them."""
    text = BELLS.read_text().replace("../stimuli_demo", str(tmp_path))
    for now, earlier in EARLIER:
        text, n = re.subn(now, earlier, text, flags=re.MULTILINE)
        assert n
    table = (ROOT / "stimuli_demo" / "recordings.csv").read_text()
    (tmp_path / "recordings.csv").write_text(table.replace("strike,specimen,", "strike,unit,", 1))
    (tmp_path / "protocol.toml").write_text(text)
    return tmp_path / "protocol.toml"


def test_an_earlier_protocol_says_what_todays_says(before: Path) -> None:
    with pytest.warns(earlier_words.EarlierWord) as told:
        found = protocol.load(before)
    now = protocol.load(BELLS)
    assert found.attributes == now.attributes
    assert found.questions == now.questions
    assert {re.search("`(.*)` is now", str(one.message))[1] for one in told} == {
        "question",
        "anchor",
        "factor",
    }  # type: ignore[index]


def test_an_earlier_unit_of_an_effect_is_read(tmp_path: Path) -> None:
    text = (ROOT / "protocols" / "discrimination.toml").read_text()
    path = tmp_path / "protocol.toml"
    path.write_text(text.replace('unit = "share not guessed"', 'unit = "heard"'))
    with pytest.warns(earlier_words.EarlierWord, match="unit = share not guessed"):
        assert protocol.load(path).questions[0].unit == "share not guessed"


def test_the_column_unit_of_an_earlier_table_names_the_specimen(before: Path) -> None:
    with pytest.warns(earlier_words.EarlierWord, match="`unit` is now `specimen`"):
        rows, problems = recordings_table.problems(protocol.load(before), before)
    assert not problems
    assert {row.specimen for row in rows} == {"1"}


def test_both_words_at_once_are_refused_by_name(before: Path) -> None:
    before.write_text(before.read_text().replace("question = ", 'wording = "Which?"\nquestion = ', 1))
    with pytest.raises(RecordError, match="question: found an unknown key"), pytest.warns():
        protocol.load(before)


@pytest.mark.parametrize(("earlier", "now"), earlier_words.COMMANDS.items(), ids=earlier_words.COMMANDS)
def test_an_earlier_command_runs_with_one_notice(earlier: str, now: str, capsys) -> None:
    assert now in cli.COMMANDS
    assert earlier not in cli.COMMANDS
    assert cli.main([earlier, "/no/such/study"]) == 2
    said = capsys.readouterr().err.splitlines()
    assert said[0].startswith(f"listening: notice: listening: `{earlier}` is now `{now}`")
    assert not any("notice" in line for line in said[1:])


def test_an_earlier_option_gives_the_same_numbers_with_a_notice(capsys) -> None:
    asked = ["fit", "counts", "--task", "triangle", "--correct", "17", "--trials", "36", "--json"]
    assert cli.main([*asked, "--coverage", "0.9"]) == 0
    now = capsys.readouterr().out
    assert cli.main([*asked, "--level", "0.9"]) == 0
    told = capsys.readouterr()
    assert told.out == now
    assert told.err.count("`--level` is now `--coverage`") == 1


def test_a_command_tells_each_word_once(before: Path, capsys) -> None:
    cli.main(["check", str(before)])
    notices = [line for line in capsys.readouterr().err.splitlines() if "notice" in line]
    assert len(notices) == len(set(notices)) == len(EARLIER) + 1
