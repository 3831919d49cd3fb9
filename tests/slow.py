"""The long simulations in named parts, each of which goes on where it stopped.

    python tests/slow.py [PART ...] [--list] [--afresh] [--kept FOLDER]

A part is the slow tests of one test file. What passed is kept in FOLDER (`slow_runs`) under the state of the
code, so that a part that was cut off runs only what is left; the table says which commit it is of, and which
parts are not complete. Another state of the code begins anew. Exit code 1 unless every part asked for is
complete and passed.
"""

import argparse
import hashlib
import io
import json
import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import redirect_stdout
from dataclasses import dataclass, field
from pathlib import Path

import pytest

FOLDER = "SLOW_RUNS"  # where a long simulation may keep what it has so far
ROOT = Path(__file__).resolve().parents[1]
CODE = ("stats", "listening", "tests", "protocols", "stimuli_demo", "constraints.txt")


@dataclass
class Kept:
    """What is known of each slow test of one state of the code: file, outcome and seconds by test."""

    path: Path
    commit: str
    tests: dict[str, dict[str, object]] = field(default_factory=dict)

    @classmethod
    def of(cls, folder: Path) -> "Kept":
        name, commit = state()
        path = folder / f"{name}.json"
        return cls(path, commit, json.loads(path.read_text())["tests"] if path.is_file() else {})

    def keep(self, test: str, outcome: str, seconds: float) -> None:
        self.tests[test] = {"outcome": outcome, "seconds": round(seconds, 1)}
        self.path.parent.mkdir(parents=True, exist_ok=True)
        fresh = self.path.with_suffix(".part")
        fresh.write_text(json.dumps({"commit": self.commit, "tests": self.tests}, indent=1))
        fresh.replace(self.path)  # whole at every instant: a part may be cut off while it writes

    def passed(self) -> set[str]:
        return {test for test, row in self.tests.items() if row["outcome"] in ("passed", "skipped")}


def state() -> tuple[str, str]:
    """A name for the code as it lies here, and the commit it is of."""
    commit = _git("rev-parse", "--short", "HEAD") or "no commit known"
    changed = _git("status", "--porcelain", "--", *CODE)
    digest = hashlib.sha256()
    for path in sorted(_files()):
        digest.update(str(path.relative_to(ROOT)).encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()[:16], commit + (" with changes" if changed else "")


def _git(*words: str) -> str:
    done = subprocess.run(["git", *words], cwd=ROOT, capture_output=True, text=True, check=False)
    return done.stdout.strip() if done.returncode == 0 else ""


def _files() -> Iterator[Path]:
    for name in CODE:
        top = ROOT / name
        inside = [top] if top.is_file() else top.rglob("*")
        yield from (path for path in inside if path.is_file() and "__pycache__" not in path.parts)


class Rest:
    """A pytest plug-in: run what has not passed yet, and keep what each test came to at once."""

    def __init__(self, kept: Kept, *, collect_only: bool = False) -> None:
        self.kept, self.collect_only = kept, collect_only
        self.found: list[str] = []

    def pytest_collection_modifyitems(self, config: pytest.Config, items: list[pytest.Item]) -> None:
        slow = [item for item in items if item.get_closest_marker("slow")]
        self.found = [item.nodeid for item in slow]
        done = self.kept.passed()
        items[:] = [] if self.collect_only else [item for item in slow if item.nodeid not in done]

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.when == "call" or (report.when == "setup" and not report.passed):
            self.kept.keep(report.nodeid, report.outcome, report.duration)


def part_of(test: str) -> str:
    """tests/stats/deciding/test_calibration.py::test_x -> stats/deciding/calibration"""
    file = test.split("::")[0].removeprefix("tests/").removesuffix(".py")
    folder, _, name = file.rpartition("/")
    return f"{folder}/{name.removeprefix('test_')}" if folder else name.removeprefix("test_")


def collected(kept: Kept) -> dict[str, list[str]]:
    """The slow tests by part."""
    files = [str(p) for p in sorted((ROOT / "tests").rglob("test_*.py")) if "mark.slow" in p.read_text()]
    rest = Rest(kept, collect_only=True)
    with redirect_stdout(io.StringIO()):
        pytest.main(["-q", "--collect-only", *files], plugins=[rest])
    parts: dict[str, list[str]] = {}
    for test in rest.found:
        parts.setdefault(part_of(test), []).append(test)
    return parts


def table(parts: dict[str, list[str]], kept: Kept) -> str:
    """One row a part: how much of it ran to its end on this state of the code."""
    lines = [f"slow simulations of commit {kept.commit}", f"{'passed':>9} {'minutes':>8}  part"]
    for name, tests in parts.items():
        rows = [kept.tests[test] for test in tests if test in kept.tests]
        n_passed = sum(row["outcome"] in ("passed", "skipped") for row in rows)
        failed = any(row["outcome"] == "failed" for row in rows)
        word = "  FAILED" if failed else "  CUT OFF" if 0 < n_passed < len(tests) else ""
        word = word or ("  not run" if n_passed == 0 else "")
        minutes = sum(float(str(row["seconds"])) for row in rows) / 60
        lines.append(f"{n_passed:4d} of {len(tests):<2d} {minutes:8.1f}  {name}{word}")
    return "\n".join(lines)


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("parts", nargs="*", help="names of parts, or how they begin; all if none is named")
    parser.add_argument("--list", action="store_true", help="say what was run, and run nothing")
    parser.add_argument("--afresh", action="store_true", help="forget what passed before")
    parser.add_argument("--kept", type=Path, default=ROOT / "slow_runs")
    args = parser.parse_args()
    kept = Kept.of(args.kept)
    every = collected(kept)
    parts = {name: every[name] for name in every if not args.parts or name.startswith(tuple(args.parts))}
    if not parts:
        parser.error(f"no part begins so; there are: {', '.join(every)}")
    if args.afresh:
        for test in (test for tests in parts.values() for test in tests):
            kept.tests.pop(test, None)
    if not args.list:
        os.environ[FOLDER] = str(kept.path.with_suffix(""))
        for name, tests in parts.items():
            if not kept.passed().issuperset(tests):
                print(f"== {name}", flush=True)
                pytest.main(["-q", "-m", "slow", *tests], plugins=[Rest(kept)])
    print(table(parts, kept))
    return 0 if kept.passed().issuperset(test for tests in parts.values() for test in tests) else 1


if __name__ == "__main__":
    sys.exit(main())
