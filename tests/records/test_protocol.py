"""A protocol's problems: all at once, each with its line, key, what was found and wanted."""

from pathlib import Path

import pytest

from listening.errors import MissingFile, RecordError
from listening.records.protocols import protocol

ROOT = Path(__file__).resolve().parents[2]
BELLS = (ROOT / "protocols" / "bells.toml").read_text()


def _write(folder: Path, text: str) -> Path:
    path = folder / "protocol.toml"
    path.write_text(text)
    return path


@pytest.mark.parametrize("path", sorted((ROOT / "protocols").glob("*.toml")), ids=lambda p: p.name)
def test_every_shipped_protocol_is_a_valid_one(path: Path) -> None:
    assert protocol.problems(path)[1] == []


BROKEN = [
    ("gap_s = 0.5", "gap_z = 0.5", "sitting.gap_z", "did you mean `gap_s`"),
    ("plays_at_least = 1", "plays_at_least = 50", "sitting.plays_at_least", "less than or equal to 5"),
    ('id = "b-louder-than-a"', 'id = "f-longer-than-e"', "questions[4].id", "each name once"),
    ('training = "naive"\n', "", "panel.training", "this key"),
    ("smallest_effect = 0.7", "smallest_effect = 0.3", "questions[5]", "between 0.5 and 1"),
    (
        'kind = "same"\nattribute = "loudness"',
        'kind = "same"\nattribute = "loudnes"',
        "questions[5].attribute",
        "did you mean `loudness`",
    ),
    ("seed = 20261125", "seed = nan", "seed", "finite number"),
]


@pytest.mark.parametrize(("right", "wrong", "key", "wanted"), BROKEN, ids=[b[2] for b in BROKEN])
def test_a_problem_names_its_line_key_and_what_is_wanted(
    tmp_path: Path, right: str, wrong: str, key: str, wanted: str
) -> None:
    assert right in BELLS
    found = protocol.problems(_write(tmp_path, BELLS.replace(right, wrong, 1)))[1]
    [problem] = [p for p in found if p.key == key]
    assert wanted in problem.wanted
    assert problem.line is not None
    expected = BELLS.replace(right, wrong, 1).splitlines()
    if wrong and not key.endswith("]"):
        assert key.rsplit(".", 1)[-1].split("[")[0] in expected[problem.line - 1]


def test_all_problems_are_reported_at_once_in_the_order_of_their_lines(tmp_path: Path) -> None:
    text = BELLS
    for right, wrong, _, _ in BROKEN:
        text = text.replace(right, wrong, 1)
    found = protocol.problems(_write(tmp_path, text))[1]
    assert {key for *_, key, _ in BROKEN} <= {p.key for p in found}
    assert [p.line for p in found] == sorted(p.line or 0 for p in found)


def test_a_cut_file_is_one_plain_problem(tmp_path: Path) -> None:
    path = _write(tmp_path, BELLS[: BELLS.index('consent = """') + 30])
    [problem] = protocol.problems(path)[1]
    assert "not valid TOML" in problem.found
    with pytest.raises(RecordError, match="not valid TOML"):
        protocol.load(path)


def test_an_empty_or_missing_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(RecordError, match="empty"):
        protocol.load(_write(tmp_path, ""))
    with pytest.raises(MissingFile, match="no such file"):
        protocol.load(tmp_path / "other.toml")


def test_one_changed_byte_changes_the_digest(tmp_path: Path) -> None:
    path = _write(tmp_path, BELLS)
    before = protocol.digest(path)
    path.write_text(BELLS.replace("0.6 ", "0.6", 1))
    assert protocol.digest(path) != before
