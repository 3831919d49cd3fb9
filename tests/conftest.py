"""How the tests are shared out, and what a skip means where everything was installed."""

import hashlib
import os
from collections import Counter
from collections.abc import Generator, Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parents[1]
NEED_ALL = "LISTENING_TESTS_NEED_ALL"  # set by .ci/run
TOGETHER = (
    "tests/analysis/explain/test_explained.py",
    "tests/metrics/test_honest_partials.py",
    "tests/report/test_page.py",
)
"""Files that share what takes seconds by other ways than a fixture of their module."""
OF_MODULE = 'scope="module"'


@cache
def _is_together(file: str) -> bool:
    """Whether one process runs the whole file, so that what it shares is made once."""
    return file in TOGETHER or OF_MODULE in (ROOT / file).read_text()


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """`--dist loadscope` keeps files with a fixture of the module together; all other tests go one by one."""
    if config.getvalue("dist") != "loadscope":
        return None
    from xdist.scheduler import LoadScopeScheduling

    class ByCost(LoadScopeScheduling):
        def _split_scope(self, nodeid: str) -> str:
            file = nodeid.split("::")[0]
            return file if _is_together(file) else nodeid

    return ByCost(config, log)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport() -> Generator[None, pytest.TestReport, pytest.TestReport]:
    report = yield
    if NEED_ALL in os.environ and report.skipped and isinstance(report.longrepr, tuple):
        reason = report.longrepr[2]
        if "missing" in reason:  # an optional extra says "not installed", and may be
            report.outcome, report.longrepr = "failed", f"{reason} ({NEED_ALL} is set)"
    return report


@pytest.fixture(scope="session", autouse=True)
def _deals_drawn_from_the_tests_name() -> Iterator[None]:
    """A deal draws its secret at random, and with it who hears what; in a test it is the test's own, always.

    Else one run in so many meets orders or a panel that no other run meets, and nobody can make it again.
    """
    from listening.steps import study_deal

    drawn: Counter[str] = Counter()

    def secret(open_seed: int | None) -> str:
        if open_seed is not None:
            return random(open_seed)
        test = os.environ.get("PYTEST_CURRENT_TEST", "").rpartition(" ")[0]
        drawn[test] += 1
        return hashlib.sha256(f"{test} {drawn[test]}".encode()).hexdigest()[: study_deal.SECRET_DIGITS]

    random = study_deal._secret
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(study_deal, "_secret", secret)
        yield
