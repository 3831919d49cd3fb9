"""Every command that README and the documentation print is run, and ends as a reader is told."""

from collections import Counter
from pathlib import Path

import pytest

from tests.doc_examples import NEEDS, ROOT, Folders, Session, run_session, sessions
from tests.test_docs import PAGES

ELSEWHERE = {"replications.md"}  # tests/test_replications.py runs every command of it and holds its numbers
TOLD = [p for p in [*PAGES, ROOT / "README.md"] if p.name not in ELSEWHERE and "listening" in p.read_text()]


def of_page(page: Path) -> list[Session]:
    """The sessions of a page."""
    return sessions(page.read_text(), inline=page.name == "README.md")


SESSIONS = [(page, n, one) for page in TOLD for n, one in enumerate(of_page(page))]
IDS = [f"{page.stem}-{n}" for page, n, _ in SESSIONS]
LINES = [line for _, _, one in SESSIONS for kind, line in one.steps if kind == "line"]
SLOW = [one for one in SESSIONS if any("slow" in line.says for _, line in one[2].steps)]


@pytest.fixture(scope="module")
def folders(tmp_path_factory: pytest.TempPathFactory) -> Folders:
    return Folders(tmp_path_factory.mktemp("examples"))


@pytest.mark.parametrize(("page", "number", "session"), SESSIONS, ids=IDS)
def test_the_commands_of_a_page_run(page: Path, number: int, session: Session, folders: Folders) -> None:
    assert run_session(session, folders, slow=False) == []


@pytest.mark.slow
@pytest.mark.parametrize(("page", "number", "session"), SLOW, ids=[f"{p.stem}-{n}" for p, n, _ in SLOW])
def test_the_long_ones_run_too(page: Path, number: int, session: Session, folders: Folders) -> None:
    assert run_session(session, folders, slow=True) == []


@pytest.mark.parametrize(
    "line",
    ["listening check nowhere", "listening whistle bells", "rm -rf bells", "listening check bells --loud"],
)
def test_a_command_that_does_not_run_is_seen(line: str, folders: Folders) -> None:
    [one] = sessions(f"<!-- folder: bells new -->\n\n```console\n{line}\n```\n")
    [fault] = run_session(one, folders, slow=False)
    assert fault.startswith(f"{line}: ended with ")


def test_what_is_not_run_is_counted_and_its_like_is_run_elsewhere() -> None:
    reasons = Counter(line.says["not run"] for line in LINES if "not run" in line.says)
    assert reasons == {
        "a PostgreSQL server": 5,
        "an installation": 3,
        "a sound device": 1,
        "a design that comes late": 1,
        "a study of ratings": 1,
        "a Dask scheduler": 1,
        "a demo of its own": 1,
    }
    for file in NEEDS.values():
        assert (ROOT / file).is_file()


def test_a_line_that_ends_otherwise_than_told_says_why() -> None:
    for line in LINES:
        if {"exit", "instead"} & set(line.says):
            assert len(line.says.get("because", "")) > 10, line.text
