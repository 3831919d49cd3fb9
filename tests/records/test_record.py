"""The record of a study: no line can be changed, taken out, put in or swapped without being named."""

import json
from pathlib import Path

import pytest

from listening.errors import CannotWrite, RecordError
from listening.records.dealt import head_code, record


@pytest.fixture
def path(tmp_path: Path) -> Path:
    made = tmp_path / "record.jsonl"
    for number in range(5):
        record.append(made, at=f"2030-01-0{number + 1}", kind="opening", told={"answers": str(number)})
    return made


def _lines(path: Path) -> list[str]:
    return path.read_text().splitlines()


def _write(path: Path, lines: list[str]) -> None:
    path.write_text("".join(f"{line}\n" for line in lines))


def test_a_record_as_written_has_no_fault(path: Path) -> None:
    assert list(record.faults(path)) == []
    assert [entry.n for entry in record.load(path)] == [1, 2, 3, 4, 5]


@pytest.mark.parametrize("number", range(5))
def test_a_changed_line_is_named(path: Path, number: int) -> None:
    lines = _lines(path)
    lines[number] = lines[number].replace('"answers": "', '"answers": "x')
    _write(path, lines)
    assert next(record.faults(path)).startswith(f"{path}: line {number + 1}")


@pytest.mark.parametrize("number", range(4))
def test_a_line_taken_out_is_named(path: Path, number: int) -> None:
    lines = _lines(path)
    del lines[number]
    _write(path, lines)
    assert f"line {number + 1}" in next(record.faults(path))


def test_swapped_and_doubled_lines_are_named(path: Path) -> None:
    lines = _lines(path)
    _write(path, [lines[1], lines[0], *lines[2:]])
    assert list(record.faults(path))
    _write(path, [lines[0], *lines])
    assert list(record.faults(path))


def test_numbers_made_right_again_do_not_help(path: Path) -> None:
    kept = [json.loads(line) for line in _lines(path)][1:]
    _write(path, [json.dumps({**line, "n": n}) for n, line in enumerate(kept, start=1)])
    assert "not what was written down" in next(record.faults(path))


def test_a_line_cut_off_by_a_crash_is_no_line_and_the_next_one_stands_whole(path: Path) -> None:
    with path.open("a") as file:
        file.write('{"n": 6, "at"')
    assert len(record.load(path)) == 5
    record.append(path, at="2030", kind="analysis", told={})
    assert [entry.n for entry in record.load(path)] == [1, 2, 3, 4, 5, 6]
    assert list(record.faults(path)) == []


def test_what_is_no_line_is_named_and_nothing_is_written_over_it(path: Path) -> None:
    before = path.read_text() + "nonsense\n"
    path.write_text(before)
    with pytest.raises(RecordError, match="line 6 cannot be read"):
        record.append(path, at="2030", kind="analysis", told={})
    assert path.read_text() == before


def test_a_record_that_cannot_be_written_is_said(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(CannotWrite, match="the record cannot be written"):
        record.append(tmp_path / "file" / "record.jsonl", at="2030", kind="dealt", told={})


def test_a_code_is_short_and_read_back_however_it_is_typed() -> None:
    # RFC 4648, base 32: 80 bits are 16 letters
    assert head_code.code("00" * 32) == "aaaa-aaaa-aaaa-aaaa"
    assert head_code.code("ff" * 32) == "7777-7777-7777-7777"
    assert head_code.code("") == ""
    assert head_code.plain(" ABCD-efgh 2345-6777 ") == "abcdefgh23456777"
