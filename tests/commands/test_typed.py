"""No control character on a command line gets into a file: the file could not be read again."""

from pathlib import Path

import pytest

from listening import cli
from listening.console import typed
from listening.errors import RecordError
from listening.records.forms.frozen import Deposit, History


@pytest.mark.parametrize("sign", ["\x1b[31m", "\x9b31m", "\u202e", "\u2066", "\x00", "\x85", "\r"])
@pytest.mark.parametrize("words", ["deposit . --with {}", "amend . {}", "room . --remark {}", "no-such {}"])
def test_a_control_character_is_refused_and_not_repeated(
    sign: str, words: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert cli.main([word.format(f"{sign}red it was") for word in words.split()]) == 2
    said = capsys.readouterr()
    assert sign not in said.out + said.err
    assert "found the control character" in said.err
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("word", ["two\nlines", "a\tb", "ü", "ba\udcffd.wav", "\u2019", "=1+1", "<b>"])
def test_text_and_names_of_files_go_through(word: str) -> None:
    assert not typed.fault_in(["measure", word])


def test_a_draft_may_hold_what_the_command_then_names() -> None:
    assert not typed.fault_in(["claim", "\u202e"], tells_itself=True)


@pytest.mark.parametrize("sign", ["\x1b[31m", "\x9b31m", "\u202e"])
def test_a_file_that_could_not_be_read_again_is_not_written(sign: str, tmp_path: Path) -> None:
    made = Deposit(study_digest="d", page_digest="p", deposited_at="2030-01-01", whom=f"{sign} the notary")
    path = tmp_path / "history.json"
    History().save(path)
    before = path.read_bytes()
    with pytest.raises(RecordError, match=r"deposits.*control character"):
        History(deposits=(made,)).save(path)
    assert path.read_bytes() == before
