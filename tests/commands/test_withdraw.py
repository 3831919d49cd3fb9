"""A withdrawal leaves nothing of a listener, or ends with 1 and names each place and who must do what."""

import contextlib
import sqlite3
from pathlib import Path

import pytest

from listening import cli
from listening.design import versions
from listening.records.study import Study
from listening.simulate import run as simulate
from listening.store import open_store
from tests import bells

CODE = "S001"


@pytest.fixture
def study(tmp_path: Path) -> Study:
    made = bells.write_study(tmp_path, n_listeners=2)
    simulate.run(made, seed=1)
    return made


def _withdraw(study: Study, capsys: pytest.CaptureFixture[str]) -> tuple[int, str]:
    code = cli.main(["withdraw", str(study.root), CODE, "--yes"])
    said = capsys.readouterr()
    return code, " ".join((said.out + said.err).split())


def _is_in(root: Path, word: str) -> list[Path]:
    return [p for p in root.rglob("*") if p.is_file() and word.encode() in p.read_bytes()]


def test_nothing_is_left_in_the_folder(study: Study, capsys: pytest.CaptureFixture[str]) -> None:
    row = open_store(study.answers).resume(listener=CODE, simulated=True)
    assert row is not None
    tables = study.root / "export"
    tables.mkdir()
    (tables / "answers.csv").write_text(f"listener,answer\n{CODE},first\n")
    (tables / "answers.parquet").write_bytes(b"PAR1 compressed")
    (tables / "dictionary.csv").write_text("column,meaning\n")
    code, said = _withdraw(study, capsys)
    assert code == 0, said
    assert not _is_in(study.root, CODE)
    assert not _is_in(study.root, row.id)
    assert sorted(p.name for p in tables.iterdir()) == ["dictionary.csv"]


def test_findings_that_name_the_listener_are_left_and_said(
    study: Study, capsys: pytest.CaptureFixture[str]
) -> None:
    study.findings.write_text(f'{{"listener": "{CODE}"}}')
    code, said = _withdraw(study, capsys)
    assert code == 1
    assert "STILL LEFT" in said
    assert "listening analyse" in said
    study.findings.unlink()
    code, said = _withdraw(study, capsys)
    assert code == 2
    assert "nothing of that code" in said


def test_a_log_that_another_reader_keeps_is_named_until_it_is_gone(
    study: Study, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    from listening.store import engine

    monkeypatch.setattr(engine, "WAIT_FOR_OTHERS_MS", 50)
    with contextlib.closing(sqlite3.connect(study.answers, isolation_level=None)) as reader:
        reader.execute("BEGIN")
        assert reader.execute("SELECT count(*) FROM answer").fetchone()[0]
        code, said = _withdraw(study, capsys)
        assert code == 1
        assert "close it, then withdraw again" in said or "close what has it open" in said
        reader.execute("COMMIT")
    code, said = _withdraw(study, capsys)
    assert code == 2
    assert not _is_in(study.root, CODE)


def test_an_earlier_deal_loses_the_listener_as_well(study: Study, capsys: pytest.CaptureFixture[str]) -> None:
    study.frozen_protocol.write_bytes(study.protocol.read_bytes())
    if not study.frozen_manifest.is_file():
        study.frozen_manifest.write_text("{}")
    versions.set_aside(study, "the table was wrong")
    code, said = _withdraw(study, capsys)
    assert code == 0, said
    assert not _is_in(study.root, CODE)


def test_a_withdrawal_cut_off_is_done_again(study: Study, capsys: pytest.CaptureFixture[str]) -> None:
    """After the rows went and before anything else was cleaned, as the process being gone leaves it."""
    (study.root / "export").mkdir()
    (study.root / "export" / "a.csv").write_text(f"x\n{CODE}\n")
    store = open_store(study.answers)
    store.withdraw(CODE)
    store.close()
    code, said = _withdraw(study, capsys)
    assert code == 0, said
    assert not _is_in(study.root, CODE)
