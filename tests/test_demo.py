"""The demo command as its user runs it, from shipped recordings to verdicts and page."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from listening.records.found.findings import Findings
from listening.records.study import Study


def _demo(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "listening", "demo", str(folder), *words]
    return subprocess.run(command, capture_output=True, text=True, timeout=600, check=False)


@pytest.fixture(scope="module")
def ran(tmp_path_factory: pytest.TempPathFactory) -> tuple[Study, str]:
    folder = tmp_path_factory.mktemp("demo") / "bells"
    done = _demo(folder)
    assert done.returncode == 0, done.stderr
    return Study(folder), done.stdout


def test_the_last_line_names_the_page_and_the_page_is_there(ran: tuple[Study, str]) -> None:
    study, printed = ran
    last = printed.strip().splitlines()[-1]
    assert last.endswith(".html")
    assert Path(last.split()[-1]) == study.page
    assert "<html" in study.page.read_text()[:500]


def test_what_differs_in_level_alone_is_not_supported_and_what_differs_beyond_is(
    ran: tuple[Study, str],
) -> None:
    words = {q.id: q.word for q in Findings.load(ran[0].findings).questions}
    assert words["d-brighter-than-c"] == words["f-longer-than-e"] == words["b-louder-than-a"] == "supported"
    assert "supported" not in (words["b-brighter-than-a"], words["b-longer-than-a"])


def test_simulated_answers_are_marked_wherever_they_show(ran: tuple[Study, str]) -> None:
    study, printed = ran
    assert Findings.load(study.findings).simulated
    assert "simulated" in printed
    assert "Simulated panel" in study.page.read_text()


def test_a_person_gets_a_station_of_its_own_that_can_be_sat(ran: tuple[Study, str]) -> None:
    study, printed = ran
    [line] = [row for row in printed.splitlines() if "listening sit" in row and "yourself" in row]
    own = Study(Path(line.split()[-1]))
    assert own.plan.is_file()
    assert not own.answers.exists()
    assert (
        json.loads(own.plan.read_text())["protocol_digest"]
        == json.loads(study.plan.read_text())["protocol_digest"]
    )


def test_a_folder_that_no_demo_made_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "thesis.txt").write_text("mine")
    done = _demo(tmp_path)
    assert done.returncode == 2
    assert "no demo made it" in done.stderr
    assert "Traceback" not in done.stderr
    assert [p.name for p in tmp_path.iterdir()] == ["thesis.txt"]
