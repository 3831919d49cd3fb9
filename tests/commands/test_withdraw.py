"""A withdrawal leaves nothing of a listener, or ends with 1 and names each place and who must do what."""

import contextlib
import gzip
import shutil
import sqlite3
import zipfile
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


def _zipped(path: Path, content: bytes) -> None:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("answers.csv", content)


def _parquet(path: Path, content: bytes) -> None:
    import pandas as pd

    pd.DataFrame({"listener": [CODE] * 9}).to_parquet(path)


TABLE = f"listener,answer\n{CODE},first\n".encode()
KEPT = {
    "old.zip": (_zipped, "names the listener"),
    "answers.csv.gz": (lambda p, c: p.write_bytes(gzip.compress(c)), "names the listener"),
    "for_the_office.csv": (lambda p, c: p.write_bytes(c.decode().encode("utf-16")), "names the listener"),
    "mine.parquet": (_parquet, "names the listener"),
    f"{CODE}.txt": (lambda p, c: p.write_bytes(b"late"), "names the listener"),
    "manual.pdf": (lambda p, c: p.write_bytes(b"%PDF-1.7 x"), "cannot be searched"),
    "packed.7z": (lambda p, c: p.write_bytes(b"7z\xbc\xaf'\x1c" + c), "cannot be searched"),
}


def test_whatever_else_holds_the_listener_is_named_packed_or_not(
    study: Study, capsys: pytest.CaptureFixture[str]
) -> None:
    for name, (write, _) in KEPT.items():
        write(study.root / name, TABLE)
    shutil.copy(study.answers, study.station / "answers.sqlite.bak")
    lock = (
        study.station / f"sitting-{open_store(study.answers).resume(listener=CODE, simulated=True).id}.lock"
    )  # type: ignore[union-attr]
    lock.touch()
    (study.root / "other.csv").write_bytes(TABLE.replace(CODE.encode(), b"S0011"))
    _zipped(study.root / "others.zip", b"S0011")
    code, said = _withdraw(study, capsys)
    assert code == 1
    for name, (_, told) in KEPT.items():
        assert f"{study.root / name}: {told}" in said, name
    assert f"{study.station / 'answers.sqlite.bak'}: a copy of the answers" in said
    assert "other" not in said.split("backups")[0].replace("another", "")
    assert not lock.exists()
    for name in (*KEPT, "station/answers.sqlite.bak"):
        (study.root / name).unlink()
    assert _withdraw(study, capsys)[0] == 2  # nothing is left


def test_a_page_on_paper_that_names_the_listener_goes(
    study: Study, capsys: pytest.CaptureFixture[str]
) -> None:
    """Its text is packed, so that no search finds them in it, and it can be made again."""
    study.report.mkdir()
    (study.report / "report.pdf").write_bytes(b"%PDF-1.7 packed")
    tables = study.root / "export"
    tables.mkdir()
    (tables / "strengths.csv").write_text("condition,strength\n")
    code, said = _withdraw(study, capsys)
    assert code == 0, said
    assert f"removed: {study.report / 'report.pdf'}" in said
    assert f"out of date now: {tables / 'strengths.csv'}" in said
    assert not list(study.report.iterdir())
