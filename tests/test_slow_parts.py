"""Long simulations go on where they stopped, and a part that was cut off says so."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests import slow

ROOT = Path(__file__).resolve().parents[1]
TWO = """
import os, pytest

@pytest.mark.slow
def test_one(): pass

@pytest.mark.slow
def test_two():
    if "CUT" in os.environ:
        os._exit(9)

def test_quick(): raise AssertionError("not asked for")
"""
RUN = """
import json, sys
from pathlib import Path
import pytest
from tests import slow
path = Path(sys.argv[2])
kept = slow.Kept(path, "abc", json.loads(path.read_text())["tests"] if path.is_file() else {})
rest = slow.Rest(kept)
pytest.main(["-q", "-m", "slow", "--rootdir", sys.argv[3], "-c", "/dev/null", sys.argv[1]], plugins=[rest])
"""


def run(folder: Path, *, cut: bool) -> dict[str, dict[str, object]]:
    (folder / "test_two.py").write_text(TWO)
    environment = {k: v for k, v in os.environ.items() if not k.startswith("PYTEST_")} | {
        "PYTHONPATH": str(ROOT)
    }
    words = [str(folder / "test_two.py"), str(folder / "kept.json"), str(folder)]
    subprocess.run(
        [sys.executable, "-c", RUN, *words],
        env=environment | ({"CUT": "1"} if cut else {}),
        cwd=folder,
        capture_output=True,
        check=False,
    )
    found: dict[str, dict[str, object]] = json.loads((folder / "kept.json").read_text())["tests"]
    return found


def test_what_passed_before_a_cut_is_not_run_again(tmp_path: Path) -> None:
    assert {name.split("::")[1]: row["outcome"] for name, row in run(tmp_path, cut=True).items()} == {
        "test_one": "passed"
    }
    first = tmp_path / "kept.json"
    marked = json.loads(first.read_text())
    marked["tests"]["test_two.py::test_one"]["seconds"] = 77.0  # would be overwritten by another run
    first.write_text(json.dumps(marked))
    found = run(tmp_path, cut=False)
    assert found["test_two.py::test_one"]["seconds"] == 77.0
    assert found["test_two.py::test_two"]["outcome"] == "passed"


@pytest.mark.parametrize(
    ("outcomes", "said"),
    [
        ({}, "   0 of 2       0.0  stats/x  not run"),
        ({"a": "passed"}, "   1 of 2       1.0  stats/x  CUT OFF"),
        ({"a": "passed", "b": "failed"}, "   1 of 2       2.0  stats/x  FAILED"),
        ({"a": "passed", "b": "skipped"}, "   2 of 2       2.0  stats/x"),
    ],
)
def test_the_table_says_what_is_not_complete(tmp_path: Path, outcomes: dict[str, str], said: str) -> None:
    rows: dict[str, dict[str, object]] = {k: {"outcome": v, "seconds": 60.0} for k, v in outcomes.items()}
    kept = slow.Kept(tmp_path / "x.json", "abc123", rows)
    assert slow.table({"stats/x": ["a", "b"]}, kept).splitlines()[2] == said


def test_parts_are_named_after_their_files() -> None:
    assert slow.part_of("tests/stats/deciding/test_calibration.py::test_x[1]") == "stats/deciding/calibration"
    assert slow.part_of("tests/test_kill.py::test_y") == "kill"
