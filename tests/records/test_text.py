"""Text from files however saved, tables as spreadsheets write them, nothing that a terminal obeys."""

import os
from pathlib import Path

import pytest

from listening.errors import MissingFile, RecordError
from listening.records.forms import rows, text

SHEET = "recording;file;strike;level_db\nb1;ü.wav;1;-3,5\n"


@pytest.mark.parametrize("form", ["utf-8", "utf-8-sig", "utf-16", "utf-32"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_a_text_is_the_same_however_it_was_saved(tmp_path: Path, form: str, end: str) -> None:
    path = tmp_path / "t.csv"
    path.write_bytes(SHEET.replace("\n", end).encode(form))
    assert text.read_text(path) == SHEET


@pytest.mark.parametrize("sign", [",", ";", "\t"])
@pytest.mark.parametrize("head", ["", "\ufeff"])
def test_a_table_is_the_same_whatever_parts_its_cells(tmp_path: Path, sign: str, head: str) -> None:
    path = tmp_path / "t.csv"
    path.write_text(f'{head}a{sign}b\n1{sign}"x{sign}""y"""\n\n2{sign}z\n', encoding="utf-8")
    table = rows.read(path)
    assert table.heading == ("a", "b")
    assert table.cells == (("1", f'x{sign}"y"'), ("2", "z"))
    assert table.lines == (2, 4)


def test_the_line_by_which_a_sheet_tells_its_separator_is_understood(tmp_path: Path) -> None:
    path = tmp_path / "t.csv"
    path.write_text("sep=;\na;b\n1;2\n")
    assert rows.read(path).dicts() == [{"a": "1", "b": "2"}]


def test_a_decimal_comma_is_read_where_cells_are_not_parted_by_commas() -> None:
    assert rows.number("-3,5", ";") == -3.5
    assert rows.number("-3.5", ";") == -3.5
    for wrong in ("1,2,3", "nan", "inf", "1e400", "1_0", "", "٣"):
        with pytest.raises(ValueError):  # noqa: PT011  (also Python's own)
            rows.number(wrong, ";")


def test_a_cell_longer_than_the_reader_s_usual_limit_is_read(tmp_path: Path) -> None:
    path = tmp_path / "t.csv"
    path.write_text("a,b\n1," + "x" * 200_000 + "\n")  # Python's own limit is 131,072
    assert len(rows.read(path).cells[0][1]) == 200_000


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("a,a\n1,2\n", "column a stands twice"),
        (",".join(f"c{i}" for i in range(100_000)), "at most 2000"),
        ('a,b\n1,"x\n', "no table"),
        ("a,b\n1,\x1b[31m\n", "line 2: found the control character U"),
        ("a,b\n1,\u202etxt\n", "U.202E"),
        ("", "empty"),
    ],
)
def test_a_table_that_is_none_is_refused_plainly(tmp_path: Path, content: str, said: str) -> None:
    path = tmp_path / "t.csv"
    path.write_text(content)
    with pytest.raises(RecordError, match=said):
        rows.read(path)


def test_what_is_no_plain_file_is_refused_and_never_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "loop").symlink_to(tmp_path / "loop")
    for path, said in (
        (tmp_path / "pipe", "pipe or a device"),
        (Path("/dev/zero"), "pipe or a device"),
        (tmp_path, "is a folder"),
        (tmp_path / "loop", "cannot be read"),
        (tmp_path / ("x" * 300), "cannot be read"),
        (Path("a\x00b"), "not a file name"),
    ):
        with pytest.raises(RecordError, match=said):
            text.read_text(path)
    with pytest.raises(MissingFile):
        text.read_text(tmp_path / "nothing")


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("x = " + "[" * 100_000 + "]" * 100_000, "too deep"),
        ("x = " + "[" * 100 + "]" * 100, "too deep"),
        ("x = " + "9" * 10_000, "not valid TOML"),
        ('x = "a\\u001b[31m"', "x: found the control character"),
        ('"a\\u001b" = 1', "control character"),
        ("x = ", "not valid TOML"),
    ],
)
def test_a_toml_text_that_no_form_of_ours_is(tmp_path: Path, content: str, said: str) -> None:
    path = tmp_path / "t.toml"
    path.write_text(content)
    with pytest.raises(RecordError, match=said):
        text.read_toml(path)


def test_a_screen_gets_no_sign_that_it_would_obey() -> None:
    every = "".join(map(chr, range(0x300))) + "\u202e\u2066\ud800é\n\t"
    shown = text.plain(every)
    assert text.control_at(shown) is None
    assert shown.isprintable() or set(filter(lambda c: not c.isprintable(), shown)) <= set("\n\t\xa0\xad")
    assert text.plain("a\x1b[31m é\t\n") == "a\\x1b[31m é\t\n"


@pytest.mark.parametrize("cell", ["=1+1", "+x", "-x", "@SUM(A1)", " =1", "=cmd|'/C calc'!A0"])
def test_no_spreadsheet_runs_what_we_export(cell: str) -> None:
    written = rows.to_text(["what"], [[cell]])
    assert written.splitlines()[1].lstrip('"').startswith("'")


@pytest.mark.parametrize("cell", ["-3.5", "+1", "x=1", -2.5, None, "5"])
def test_numbers_and_plain_words_are_exported_as_they_are(cell: object) -> None:
    assert rows.quoted(cell) == cell
